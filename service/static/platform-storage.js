// Has the platform's window keep what a launch must show, and gets it back: postMessage storage, for browsers that
// keep no cookies of a page inside another site's page.
//
// The element #storage says what to do. Values go only to windows of the platform's own origin. A reply counts only if
// it comes from there, answers this very message and names its subject.
(() => {
  "use strict";

  // How long to wait for a reply, in milliseconds: to the question what the platform offers, when values are left,
  // and when they are fetched. At the last there is no other way, so there is more patience.
  const OFFER_WITHIN = 300;
  const KEEP_WITHIN = 1000;
  const FETCH_WITHIN = 4000;

  const element = document.getElementById("storage");
  const { origin, target, stateKey, stateValue, nonceKey, nonceValue, onward, otherwise } = element.dataset;
  const platform = window.opener || window.parent;

  function unguessable() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  /** Sends a message to windows of one origin ("*": any) and waits for the reply to it. */
  function ask(peer, peerOrigin, message, within) {
    return new Promise((resolve, reject) => {
      const id = unguessable();
      const receive = (event) => {
        const reply = event.data;
        if (peerOrigin !== "*" && event.origin !== peerOrigin) return;
        if (reply === null || typeof reply !== "object" || reply.message_id !== id) return;
        if (reply.subject !== `${message.subject}.response`) return;
        end();
        if (reply.error) reject(new Error("refused"));
        else resolve(reply);
      };
      const stop = setTimeout(() => {
        end();
        reject(new Error("no reply"));
      }, within);
      const end = () => {
        removeEventListener("message", receive);
        clearTimeout(stop);
      };
      addEventListener("message", receive);
      peer.postMessage({ ...message, message_id: id }, peerOrigin);
    });
  }

  /** What the platform says it supports; it need not say anything. The question holds no secret. */
  async function offers() {
    const ways = ["lti.capabilities", "org.imsglobal.lti.capabilities"];
    const asked = ways.map((subject) => ask(platform, "*", { subject }, OFFER_WITHIN));
    const reply = await Promise.any(asked).catch(() => null);
    return Array.isArray(reply?.supported_messages) ? reply.supported_messages : [];
  }

  /** A frame of the platform by its name; the platform's page where there is no such frame or it is out of reach. */
  function frame(name) {
    if (!name || name === "_parent") return platform;
    try {
      const found = platform.frames[name];
      if (typeof found?.postMessage === "function") return found;
    } catch {
      // Out of reach.
    }
    return platform;
  }

  /** Which window takes messages of this kind, and under which subject: older platforms write a prefix. */
  function way(offered, subject) {
    const known = [subject, `org.imsglobal.${subject}`];
    const offer = offered.find((one) => known.includes(one?.subject));
    return { peer: frame(offer?.frame || target), subject: offer?.subject || subject };
  }

  async function keep() {
    const { peer, subject } = way(await offers(), "lti.put_data");
    const values = [[stateKey, stateValue], [nonceKey, nonceValue]];
    await Promise.all(values.map(([key, value]) => ask(peer, origin, { subject, key, value }, KEEP_WITHIN)));
  }

  async function fetchKept() {
    const { peer, subject } = way(await offers(), "lti.get_data");
    const replies = [stateKey, nonceKey].map((key) => ask(peer, origin, { subject, key }, FETCH_WITHIN));
    const [state, nonce] = await Promise.all(replies);
    element.elements.kept_state.value = typeof state.value === "string" ? state.value : "";
    element.elements.kept_nonce.value = typeof nonce.value === "string" ? nonce.value : "";
  }

  const alone = platform === window ? Promise.reject(new Error("no platform around")) : Promise.resolve();
  if (onward) {
    alone.then(keep).then(() => location.replace(onward), () => location.replace(otherwise));
  } else {
    // The service refuses a launch without the values, and says why.
    alone.then(fetchKept).catch(() => {}).finally(() => element.submit());
  }
})();
