// The platform's side of postMessage storage. The element #message-storage says whom to answer, and how.
(() => {
  "use strict";

  // What one tool may keep.
  const KEYS_MAX = 500;
  const BYTES_MAX = 4096;

  const { toolOrigin, behaviour, delayMs } = document.getElementById("message-storage").dataset;
  const page = window.parent === window ? window : window.parent;
  const kept = new Map();
  const shown = document.getElementById("kept");

  // The activity's frame is the first one of the page.
  const activity = () => page.frames[0];
  const bytes = () => [...kept].reduce((sum, [key, value]) => sum + key.length + value.length, 0);
  const refusal = (code, message) => ({ error: { code, message } });

  function put({ key, value }) {
    if (typeof key !== "string" || key === "") return refusal("bad_request", "key is missing or no text");
    if (value === null || value === undefined) {
      kept.delete(key);
      return { key, value: null };
    }
    if (typeof value !== "string") return refusal("bad_request", "value is no text");
    const before = kept.get(key);
    kept.set(key, value);
    if (kept.size > KEYS_MAX || bytes() > BYTES_MAX) {
      if (before === undefined) kept.delete(key);
      else kept.set(key, before);
      return refusal("storage_exhaustion", "a tool may keep less than that");
    }
    return { key, value };
  }

  function get({ key }) {
    if (typeof key !== "string" || key === "") return refusal("bad_request", "key is missing or no text");
    const value = kept.get(key) ?? null;
    return { key, value: behaviour === "other-values" && value !== null ? [...value].reverse().join("") : value };
  }

  const subjects = {
    "lti.capabilities": () => ({ supported_messages: Object.keys(subjects).map((subject) => ({ subject })) }),
    "lti.put_data": put,
    "lti.get_data": get,
  };

  /** The answer to a message; none to what is no message of the standard. */
  function answer(event) {
    const { subject, message_id: id } = event.data;
    if (typeof subject !== "string" || typeof id !== "string" || id === "") return null;
    const reply = { subject: `${subject}.response`, message_id: behaviour === "wrong-message-id" ? `${id}0` : id };
    if (!Object.hasOwn(subjects, subject)) {
      return { ...reply, ...refusal("unsupported_subject", "nothing is known about this subject") };
    }
    if (event.origin !== toolOrigin) return { ...reply, ...refusal("wrong_origin", "not the tool of this activity") };
    const result = { ...reply, ...subjects[subject](event.data) };
    if (shown) shown.textContent = String(kept.size);
    return result;
  }

  addEventListener("message", (event) => {
    if (behaviour === "impostor") {
      // Told by the platform's page only.
      if (event.source === page) activity().postMessage(event.data.pass, toolOrigin);
      return;
    }
    if (behaviour === "silent" || event.source !== activity()) return;
    if (event.data === null || typeof event.data !== "object") return;
    const reply = answer(event);
    if (reply === null) return;
    if (behaviour === "wrong-origin") {
      document.getElementById("impostor").contentWindow.postMessage({ pass: reply }, "*");
    } else {
      setTimeout(() => event.source.postMessage(reply, event.origin), Number(delayMs));
    }
  });
})();
