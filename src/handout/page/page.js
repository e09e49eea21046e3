'use strict';
(() => {
  const dance = JSON.parse(document.getElementById('dance').textContent);
  const at = (id) => document.getElementById(id);
  const sound = new Audio();
  sound.preload = 'auto';
  sound.hidden = true;
  document.body.append(sound);
  {
    // A blob can be sought in by every browser; a data address of this length cannot.
    const store = at('sound');
    const text = atob(store.textContent);
    const bytes = new Uint8Array(text.length);
    for (let i = 0; i < text.length; i++) bytes[i] = text.charCodeAt(i);
    sound.src = URL.createObjectURL(new Blob([bytes], { type: store.dataset.type }));
    store.remove();
  }
  for (const name of ['preservesPitch', 'webkitPreservesPitch', 'mozPreservesPitch']) if (name in sound) sound[name] = true;

  const { beats, cues, path } = dance;
  const still = matchMedia('(prefers-reduced-motion: reduce)');
  let version = 'all';

  const spanAt = (list, value, key) => {
    let low = 0, high = list.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (key(list[middle]) <= value) low = middle + 1; else high = middle;
    }
    return low - 1;
  };
  // The bridge between seconds and beats: straight lines between beats, the nearest beat length outside them.
  const lengthOf = (i) => beats.length > 1 ? beats[Math.min(i, beats.length - 2) + 1] - beats[Math.min(i, beats.length - 2)] : 0.5;
  const beatAt = (seconds) => {
    const i = Math.max(0, Math.min(spanAt(beats, seconds, (b) => b), beats.length - 2));
    return i + (seconds - beats[i]) / lengthOf(i);
  };
  const secondsAt = (beat) => {
    const i = Math.max(0, Math.min(Math.floor(beat), beats.length - 2));
    return beats[i] + (beat - i) * lengthOf(i);
  };

  // What the sound element says. Some browsers tell it only now and then: between two tellings the clock of the frames
  // goes on for at most a tenth of a second.
  let told = 0, toldAt = 0;
  const position = (now) => {
    const time = sound.currentTime;
    if (time !== told || sound.paused) { told = time; toldAt = now; }
    const since = sound.paused || sound.seeking ? 0 : Math.max(0, Math.min(0.1, (now - toldAt) / 1000));
    return told + since * sound.playbackRate;
  };

  const put = (element, text) => { if (element.textContent !== text) element.textContent = text; };
  const walker = document.createElementNS('http://www.w3.org/2000/svg', 'g');
  walker.setAttribute('aria-hidden', 'true');
  for (const [name, list] of [
    ['path', { d: 'M0 -1L6 -15L-6 -15Z', fill: '#000', stroke: '#fff', 'stroke-width': '1' }],
    ['circle', { cx: '0', cy: '-19', r: '5', fill: '#000', stroke: '#fff', 'stroke-width': '1' }],
  ]) {
    const part = document.createElementNS('http://www.w3.org/2000/svg', name);
    for (const key in list) part.setAttribute(key, list[key]);
    walker.append(part);
  }
  const hills = document.querySelector('#trail svg');
  hills.append(walker);

  const MOST = 8;
  for (let i = 0; i < MOST; i++) at('stones').append(document.createElement('i'));
  const stones = [...at('stones').children];
  let called = -1, before = 0, asked = null;

  const show = (seconds) => {
    const beat = beatAt(seconds) + 1e-6;
    const index = spanAt(cues, beat, (cue) => cue.at);
    const now = index >= 0 && beat < cues[index].end ? cues[index] : null;
    const next = cues[index + 1];
    put(at('now'), now ? now[version][0] : index < 0 ? 'get ready' : next ? 'listen' : 'the end');
    put(at('how'), now ? now[version][1] : '');
    put(at('next'), next ? next[version][0] : 'the end');
    const left = next ? Math.max(0, Math.ceil(next.at - beat - 1e-3)) : 0;
    put(at('number'), next ? (left === 1 ? 'in 1 count' : `in ${left} counts`) : '');
    stones.forEach((stone, i) => { stone.hidden = !next; stone.className = i < MOST - Math.min(left, MOST) ? 'past' : ''; });
    // One sentence a move, when its call is due, for whoever hears the page instead of seeing it.
    const due = next && beat >= next.called ? index + 1 : index;
    if (due !== called && !sound.paused) {
      called = due;
      if (due > index && next) put(at('said'), `next: ${next[version][0]}`);
    }
    let shown = seconds;
    if (still.matches) {
      const bar = dance.bars[spanAt(dance.bars, beat, (b) => b)];
      shown = bar === undefined ? 0 : beats[bar];
    }
    const share = Math.max(0, Math.min(1, shown / dance.length)) * (path.length - 1);
    const from = Math.floor(share), to = Math.min(from + 1, path.length - 1);
    const mix = (axis) => path[from][axis] + (path[to][axis] - path[from][axis]) * (share - from);
    walker.setAttribute('transform', `translate(${mix(0).toFixed(2)} ${mix(1).toFixed(2)})`);
    // Where the trail is wider than the screen, it goes along with the walker.
    const trail = at('trail'), wide = trail.scrollWidth - trail.clientWidth;
    if (wide > 1 && !sound.paused) {
      trail.scrollLeft = mix(0) / hills.viewBox.baseVal.width * trail.scrollWidth - trail.clientWidth / 2;
    }
    const place = at('place');
    if (document.activeElement !== place || !sound.paused) place.value = String(Math.round(seconds));
    place.setAttribute('aria-valuetext', `${Math.floor(seconds / 60)} minutes ${Math.floor(seconds % 60)} seconds`);
  };

  const ask = (prompt) => {
    asked = prompt;
    at('asked').hidden = false;
    put(at('question'), prompt.question);
    put(at('answer'), prompt.answer);
    at('answer').hidden = true;
    at('uncover').hidden = false;
    put(at('said'), `question: ${prompt.question}`);
  };
  const frame = (now) => {
    const seconds = position(now);
    if (!sound.paused) {
      // Only what is passed by playing on is asked, not what is jumped over.
      const passed = seconds - before < 1 ? dance.prompts.find((p) => p.at > before && p.at <= seconds) : undefined;
      if (passed) { ask(passed); if (passed.pause) sound.pause(); }
    }
    before = seconds;
    show(seconds);
    requestAnimationFrame(frame);
  };

  const go = (seconds) => {
    sound.currentTime = Math.max(0, Math.min(seconds, dance.length));
    before = sound.currentTime;
    called = -1;
  };
  const phrase = (step) => {
    const beat = beatAt(sound.currentTime) + 0.01;
    const index = spanAt(dance.phrases, beat, (p) => p);
    // Back within the first two counts of a phrase means the one before it.
    const here = index >= 0 && step < 0 && beat - dance.phrases[index] > 2 ? index : index + step;
    const start = dance.phrases[here];
    go(start === undefined ? (step < 0 ? 0 : sound.currentTime) : secondsAt(start));
  };
  const toggle = () => {
    if (!sound.paused) { sound.pause(); return; }
    if (asked) { asked = null; at('asked').hidden = true; }
    if (sound.ended) go(0);
    sound.play().catch(() => put(at('said'), 'press play once more'));
  };
  at('begin').addEventListener('click', () => {
    at('care').hidden = true;
    document.querySelector('.facts').hidden = true;
    at('stage').hidden = false;
    at('play').focus();
    toggle();
  });
  at('play').addEventListener('click', toggle);
  at('back').addEventListener('click', () => phrase(-1));
  at('on').addEventListener('click', () => phrase(1));
  at('uncover').addEventListener('click', () => {
    at('answer').hidden = false;
    at('uncover').hidden = true;
    put(at('said'), asked ? asked.answer : '');
    at('play').focus();
  });
  at('place').max = String(Math.floor(dance.length));
  at('place').addEventListener('input', (event) => go(Number(event.target.value)));
  hills.addEventListener('click', (event) => {
    const box = hills.getBoundingClientRect();
    const x = (event.clientX - box.left) / box.width * hills.viewBox.baseVal.width;
    go((x - path[0][0]) / (path[path.length - 1][0] - path[0][0]) * dance.length);
  });
  at('version').addEventListener('change', (event) => { version = event.target.value; });
  at('speed').addEventListener('change', (event) => { sound.playbackRate = Number(event.target.value); });
  for (const name of ['play', 'pause', 'ended']) {
    sound.addEventListener(name, () => put(at('play'), sound.paused ? 'Play' : 'Pause'));
  }
  sound.addEventListener('error', () => {
    at('how').textContent = 'This browser cannot play the sound in this page; try another browser.';
  });
  document.addEventListener('keydown', (event) => {
    if (at('stage').hidden || event.altKey || event.ctrlKey || event.metaKey) return;
    const busy = event.target.closest('input, summary, button');
    if (event.key === ' ' && !busy) { event.preventDefault(); toggle(); }
    if (busy && busy.tagName === 'INPUT') return;
    if (event.key === 'ArrowLeft') { event.preventDefault(); phrase(-1); }
    if (event.key === 'ArrowRight') { event.preventDefault(); phrase(1); }
  });
  requestAnimationFrame(frame);
})();
