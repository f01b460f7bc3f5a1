// Adds to the pages of an attempt what needs a script: what is typed is kept in the browser at once and sent to the
// service shortly after, and a number can be written in a place-value grid. Everything else works without it.
'use strict';
(() => {
  const root = document.documentElement;
  root.classList.add('scripted');

  // --- what the browser keeps ---------------------------------------------------------------

  // Private windows and frames of other sites may have no storage; then only the service keeps answers.
  const storage = (() => {
    try {
      const probe = 'tenths-probe';
      localStorage.setItem(probe, probe);
      localStorage.removeItem(probe);
      return localStorage;
    } catch {
      return null;
    }
  })();
  const KEPT_DAYS = 30;
  const GRID = 'tenths-grid';

  const keysFrom = start => storage ? Object.keys(storage).filter(key => key.startsWith(start)) : [];
  const attemptsKeys = attempt => keysFrom(`tenths:${attempt}:`);

  function put(key, value) {
    try {
      if (value === null) storage?.removeItem(key); else storage?.setItem(key, value);
    } catch {
      // A full storage is as good as none.
    }
  }

  function read(key) {
    try {
      return JSON.parse(storage.getItem(key)) ?? {};
    } catch {
      return {};
    }
  }

  function forgetOld() {
    const oldest = Date.now() - KEPT_DAYS * 24 * 60 * 60 * 1000;
    for (const key of keysFrom('tenths:')) {
      if (Object.values(read(key)).every(entry => !(entry.at > oldest))) put(key, null);
    }
  }

  // --- sending it -----------------------------------------------------------------------------

  const PAUSE_MS = 700;
  const RETRY_MS = [2000, 4000, 8000, 15000, 30000];
  const ANSWER_WITHIN_MS = 15000;

  function keep(form) {
    const line = form.querySelector('.keep');
    const page = form.elements.page.value;
    const loaded = form.elements.revision.value;
    const attempt = form.dataset.attempt;
    // What the service does not have yet, by the page that it was typed on: name of a field -> text, the revision that
    // the page had seen of it, and when.
    const batches = new Map([[page, {}]]);
    // Fields whose newer text came from the service later than the page.
    const seen = {};
    let timer = 0, failures = 0, sending = null, goOn = false;
    // How long the service asked us to wait when it had too much to do.
    let askedMs = 0, pressing = 0;

    const message = name => form.getAttribute(`data-quiz-keep-${name}`);
    function say(name, trouble = false) {
      const here = storage || !message(`${name}-page`) ? name : `${name}-page`;
      const text = name ? message(here) : '';
      // Read out only where there is something to know: 'Saved' after each answer would be a nuisance.
      line.setAttribute('aria-live', ['ready', 'saving', 'saved'].includes(name) ? 'off' : 'polite');
      if (line.textContent !== text) line.textContent = text;
      line.classList.toggle('trouble', trouble);
    }

    const isPending = () => [...batches.values()].some(fields => Object.keys(fields).length);
    function store(of) {
      const fields = batches.get(of);
      put(`tenths:${attempt}:${of}`, Object.keys(fields).length ? JSON.stringify(fields) : null);
    }

    // The names and values that belong together: all places of an order, else the field itself.
    function valuesOf(element) {
      const order = element.closest('.places');
      const elements = order ? [...order.querySelectorAll('select')] : [element];
      return elements.map(one => [one.name, one.value]);
    }

    function note(element) {
      for (const [name, text] of valuesOf(element)) {
        batches.get(page)[name] = {text, seen: seen[name] ?? loaded, at: Date.now()};
      }
      element.classList.remove('newer');
      store(page);
    }

    function show(name, text, mark) {
      const element = form.elements[name];
      if (!element || element.value === text) return false;
      element.value = text;
      const one = element instanceof RadioNodeList ? element[0] : element;
      one.classList.toggle('newer', mark);
      one.dispatchEvent(new Event('filled'));
      return true;
    }

    // Sends once: the first batch, of it what had seen the same revision. Resolves to what came of it.
    async function sendOnce(keepalive) {
      const [of, fields] = [...batches].find(([, fields]) => Object.keys(fields).length) ?? [page, {}];
      const since = Object.values(fields)[0]?.seen ?? loaded;
      const sent = Object.entries(fields).filter(([, entry]) => entry.seen === since);
      const body = new URLSearchParams({csrf: form.elements.csrf.value, page: of, revision: since});
      for (const [name, entry] of sent) body.set(name, entry.text);
      let answer;
      try {
        const signal = AbortSignal.timeout?.(ANSWER_WITHIN_MS);
        answer = await fetch(form.getAttribute('action'), {
          method: 'POST', body, keepalive, signal, redirect: 'error', headers: {Accept: 'application/json'},
        });
        if (answer.status === 401 || answer.status === 403) return 'signed-out';
        if (answer.status === 409) return 'closed';
        if (answer.status === 503) {
          askedMs = Number(answer.headers.get('Retry-After')) * 1000 || RETRY_MS[0];
          return 'busy';
        }
        if (!answer.ok) return 'offline';
        answer = await answer.json();
      } catch {
        return 'offline';
      }
      let outcome = answer.too_long.length ? 'too-long' : 'saved';
      for (const [name, entry] of sent) {
        if (fields[name] === entry) delete fields[name];
        if (!(name in answer.newer)) continue;
        seen[name] = String(answer.revision);
        // What was typed meanwhile stays.
        if (fields[name]) continue;
        show(name, answer.newer[name], entry.text !== '');
        if (entry.text !== '') outcome = 'newer';
      }
      store(of);
      if (of !== page && !Object.keys(fields).length) batches.delete(of);
      return outcome;
    }

    // Sends all there is; one after the other. `probe` asks the service even if there is nothing to send.
    function send({probe = false, keepalive = false} = {}) {
      clearTimeout(timer);
      sending ??= (async () => {
        let outcome = 'saved', worst = 'saved';
        let ask = probe;
        while (ask || isPending()) {
          ask = false;
          if (navigator.onLine === false) outcome = 'offline'; else outcome = await sendOnce(keepalive);
          if (outcome !== 'saved') worst = outcome;
          if (!['saved', 'newer', 'too-long'].includes(outcome)) break;
        }
        return worst;
      })().then(outcome => {
        sending = null;
        told(outcome);
        return outcome;
      });
      return sending;
    }

    function told(outcome) {
      say(outcome, outcome !== 'saved');
      if (outcome === 'offline' || outcome === 'busy') {
        const pause = outcome === 'busy' ? askedMs : RETRY_MS[Math.min(failures, RETRY_MS.length - 1)];
        failures += 1;
        timer = setTimeout(send, pause * (0.75 + Math.random() / 2));
      } else {
        failures = 0;
      }
    }

    function later() {
      clearTimeout(timer);
      // Once the line is known to be down, typing does not try it more often.
      if (failures) timer = setTimeout(send, RETRY_MS[0]); else { say('saving'); timer = setTimeout(send, PAUSE_MS); }
    }

    for (const kind of ['input', 'change']) {
      form.addEventListener(kind, event => {
        if (!event.target.name) return;
        const before = batches.get(page)[event.target.name];
        if (kind === 'change' && before?.text === event.target.value) return;
        note(event.target);
        later();
      });
    }
    addEventListener('online', () => { failures = 0; send(); });
    addEventListener('offline', () => { if (isPending()) told('offline'); });
    document.addEventListener('visibilitychange', () => {
      if (document.visibilityState === 'hidden' && isPending()) send({keepalive: true});
    });
    addEventListener('pageshow', () => { goOn = false; });
    addEventListener('beforeunload', event => { if (!storage && isPending()) event.preventDefault(); });

    // A form goes only when the service answers, so that nobody is left with a page of the browser's own.
    form.addEventListener('submit', async event => {
      if (goOn) return;
      event.preventDefault();
      const button = event.submitter;
      if (form.dataset.busy) return;
      form.dataset.busy = 'yes';
      // What is on its way may be older than what is typed now.
      if (sending) await sending;
      const outcome = await send({probe: true});
      delete form.dataset.busy;
      if (outcome === 'offline' && button?.hasAttribute('formaction')) say('no-hand-in', true);
      // What was pressed is pressed again when the service has asked us to come; till then the page stays as it is.
      clearTimeout(pressing);
      if (outcome === 'busy') pressing = setTimeout(() => form.requestSubmit(button), askedMs);
      if (['saved', 'too-long', 'closed'].includes(outcome)) {
        goOn = true;
        if (button) button.click(); else form.submit();
      }
    });

    // What was typed on pages that are gone, oldest first.
    const gone = attemptsKeys(attempt).filter(key => key !== `tenths:${attempt}:${page}`)
      .map(key => [key.split(':')[2], read(key)])
      .sort(([, a], [, b]) => newest(a) - newest(b));
    let restored = false;
    for (const [of, fields] of gone) {
      batches.set(of, fields);
      for (const [name, entry] of Object.entries(fields)) restored = show(name, entry.text, false) || restored;
    }
    if (form.dataset.point) say('ready');
    if (isPending()) {
      send().then(outcome => { if (outcome === 'saved' && restored) say('restored'); });
    }
  }

  const newest = fields => Math.max(0, ...Object.values(fields).map(entry => entry.at));

  // --- the place-value grid ---------------------------------------------------------------

  const HEADS = ['10 000', '1000', '100', '10', '1', '1/10', '1/100', '1/1000'];
  const ONES = 4;
  const EMPTY = '_';

  // The digits of a number by place, empty texts where there are none; null for what does not fit.
  function byPlace(text, point) {
    const parts = text.trim().split(point);
    const [whole, rest = ''] = parts;
    if (parts.length > 2 || !/^[0-9_]{0,5}$/.test(whole) || !/^[0-9_]{0,3}$/.test(rest)) return null;
    const digits = whole.padStart(ONES + 1, EMPTY) + rest.padEnd(HEADS.length - ONES - 1, EMPTY);
    return [...digits].map(sign => sign === EMPTY ? '' : sign);
  }

  // The number that the digits make. A place left out between them, or before the point, shows as a gap: what stands
  // there is the pupil's to say.
  function asText(digits, point) {
    const first = digits.findIndex(Boolean);
    if (first < 0) return '';
    const last = digits.findLastIndex(Boolean);
    const signs = digits.map(digit => digit || EMPTY);
    const rest = signs.slice(ONES + 1, last + 1).join('');
    return signs.slice(Math.min(first, ONES + 1), ONES + 1).join('') + (rest && point + rest);
  }

  function grid(form, field, button, room) {
    const point = form.dataset.point;
    const message = name => form.getAttribute(`data-quiz-grid-${name}`);
    const names = message('places').split(',');
    const openText = button.textContent;
    let cells = null, group, name;

    function build() {
      group = document.createElement('div');
      group.className = 'place-grid';
      group.setAttribute('role', 'group');
      group.setAttribute('aria-label', message('name'));
      cells = HEADS.map((head, place) => {
        const label = document.createElement('label');
        const above = document.createElement('span');
        above.textContent = head;
        above.setAttribute('aria-hidden', 'true');
        const cell = document.createElement('input');
        Object.assign(cell, {type: 'text', inputMode: 'numeric', autocomplete: 'off'});
        cell.setAttribute('aria-label', names[place]);
        label.append(above, cell);
        group.append(label);
        if (place === ONES) {
          const mark = document.createElement('span');
          mark.className = 'point';
          mark.textContent = point;
          mark.setAttribute('aria-hidden', 'true');
          group.append(mark);
        }
        cell.addEventListener('input', () => typed(place));
        cell.addEventListener('keydown', event => pressed(event, place));
        cell.addEventListener('focus', () => {
          cell.select();
          // The cell itself has that name for screen readers.
          name.setAttribute('aria-live', 'off');
          name.textContent = names[place];
        });
        cell.addEventListener('paste', event => pasted(event));
        return cell;
      });
      name = document.createElement('p');
      name.className = 'place-name';
      room.append(group, name);
      group.addEventListener('focusout', event => { if (!group.contains(event.relatedTarget)) hint(); });
      fill();
    }

    const digits = () => cells.map(cell => cell.value);

    function hint() {
      const other = byPlace(field.value, point) === null;
      name.setAttribute('aria-live', 'polite');
      name.textContent = other ? message('other') : field.value.includes(EMPTY) ? message('gap') : '';
    }

    // Puts into the cells what the field holds.
    function fill() {
      if (!cells) return;
      const found = byPlace(field.value, point) ?? HEADS.map(() => '');
      cells.forEach((cell, place) => { cell.value = found[place]; cell.dataset.was = found[place]; });
      range();
      hint();
    }

    // Shows tens to hundredths, and one place more than there are digits on both sides.
    function range(also = ONES) {
      const filled = digits();
      const first = filled.findIndex(Boolean), last = filled.findLastIndex(Boolean);
      const left = Math.min(ONES - 1, also, first < 0 ? ONES : Math.max(first - 1, 0));
      const right = Math.max(ONES + 2, also, last < 0 ? ONES : Math.min(last + 1, HEADS.length - 1));
      cells.forEach((cell, place) => { cell.parentElement.hidden = place < left || place > right; });
    }

    function write() {
      cells.forEach(cell => { cell.dataset.was = cell.value; });
      field.value = asText(digits(), point);
      field.dispatchEvent(new Event('input', {bubbles: true}));
    }

    function go(place) {
      if (place < 0 || place >= HEADS.length) return;
      range(place);
      cells[place].focus();
      cells[place].select();
    }

    function typed(place) {
      const cell = cells[place], was = cell.dataset.was;
      const isPoint = /[.,]/.test(cell.value);
      // Where the old digit was not selected, the new one stands before or behind it.
      const all = cell.value.replace(/[^0-9]/g, '');
      const digit = all.length > 1 ? all.replace(was, '').slice(-1) || was : all;
      cell.value = isPoint ? was : digit;
      write();
      if (isPoint) go(ONES + 1);
      else if (digit) go(Math.min(place + 1, HEADS.length - 1));
      else range(place);
    }

    function pressed(event, place) {
      if (event.ctrlKey || event.altKey || event.metaKey) return;
      const to = {ArrowLeft: place - 1, ArrowRight: place + 1, Home: 0, End: HEADS.length - 1}[event.key];
      if (to !== undefined) {
        event.preventDefault();
        go(to);
      } else if (event.key === 'Backspace' || event.key === 'Delete') {
        event.preventDefault();
        const from = event.key === 'Backspace' && !cells[place].value && place > 0 ? place - 1 : place;
        cells[from].value = '';
        write();
        go(from);
      }
    }

    function pasted(event) {
      const found = byPlace(event.clipboardData.getData('text'), point);
      event.preventDefault();
      if (!found) return;
      cells.forEach((cell, place) => { cell.value = found[place]; });
      write();
      range();
    }

    function toggle(open) {
      if (open && !cells) build();
      if (open) fill();
      room.classList.toggle('open', open);
      button.textContent = open ? message('close') : openText;
      button.setAttribute('aria-expanded', String(open));
    }

    button.addEventListener('click', () => {
      const open = button.getAttribute('aria-expanded') !== 'true';
      put(GRID, open ? 'open' : null);
      toggle(open);
      if (open) go(Math.max(ONES - 1, 0));
    });
    field.addEventListener('input', () => { if (!group?.contains(document.activeElement)) fill(); });
    field.addEventListener('filled', fill);
    return toggle;
  }

  function grids(form, open) {
    for (const button of form.querySelectorAll('.grid-button')) {
      const field = document.getElementById(button.dataset.grid);
      const room = form.querySelector(`[data-grid-of="${button.dataset.grid}"]`);
      const toggle = grid(form, field, button, room);
      if (open) toggle(true);
    }
    root.classList.remove('grids');
  }

  // --- the page -----------------------------------------------------------------------------

  const gridsOpen = storage?.getItem(GRID) === 'open';
  // Before the page is drawn, so that nothing moves later.
  if (gridsOpen) root.classList.add('grids');
  document.addEventListener('DOMContentLoaded', () => {
    const handedIn = document.querySelector('[data-handed-in]');
    if (handedIn) attemptsKeys(handedIn.dataset.handedIn).forEach(key => put(key, null));
    forgetOld();
    const asking = document.querySelector('form[data-point]');
    if (asking) grids(asking, gridsOpen);
    const attempt = document.querySelector('form[data-attempt]');
    if (attempt) keep(attempt);
  });
})();
