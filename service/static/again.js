// Looks again by itself while something is being worked on; the page's own link does the same by hand.
const after = Number(document.currentScript.dataset.seconds) * 1000;
setTimeout(() => location.reload(), after);
