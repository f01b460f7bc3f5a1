// Looks again by itself while something is being worked on, or sends a form again that could not be taken; the page's own
// link or button does the same by hand.
const after = Number(document.currentScript.dataset.seconds) * 1000;
document.querySelector('[data-by-itself]')?.removeAttribute('hidden');
const form = document.querySelector('form[data-again]');
setTimeout(() => form ? form.submit() : location.reload(), after);
