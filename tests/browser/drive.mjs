// Opens a take-home page in headless Chromium, plays it as a person would, and prints what was seen as JSON.
//   node drive.mjs PAGE [FOLDER FOR PICTURES]
import { readFileSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';
import { pause, withBrowser } from './browser.mjs';

const [page, pictures] = process.argv.slice(2);
const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');

await withBrowser(async ({ send, run, open, requests, complaints }) => {
  const size = (width, height, mobile = false) =>
    send('Emulation.setDeviceMetricsOverride', { width, height, deviceScaleFactor: 1, mobile });
  const media = (scheme, motion) => send('Emulation.setEmulatedMedia', { features: [
    { name: 'prefers-color-scheme', value: scheme }, { name: 'prefers-reduced-motion', value: motion }] });
  const picture = async (name, whole = false) => {
    if (!pictures) return;
    const shot = await send('Page.captureScreenshot', { format: 'png', captureBeyondViewport: whole });
    writeFileSync(join(pictures, `${name}.png`), Buffer.from(shot.data, 'base64'));
  };
  const audit = async (name) => {
    const found = await run(`axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag2aaa', 'wcag21a', 'wcag21aa', 'wcag22aa',
      'best-practice'] }).then((r) => ({ passes: r.passes.length, violations: r.violations.map((v) =>
      v.id + ': ' + v.nodes.map((n) => n.target.join(' ') + ' ' + n.failureSummary).join('; ')) }))`);
    return { name, ...found };
  };
  const click = async (selector) => {
    const [x, y] = await run(`(() => { const e = document.querySelector(${JSON.stringify(selector)}); e.scrollIntoView({ block: 'center' });
      const b = e.getBoundingClientRect(); return [b.left + b.width / 2, b.top + b.height / 2]; })()`);
    for (const type of ['mousePressed', 'mouseReleased']) {
      await send('Input.dispatchMouseEvent', { type, x, y, button: 'left', clickCount: 1 });
    }
  };
  const press = async (key) => {
    const text = key === ' ' ? { text: ' ' } : {};
    await send('Input.dispatchKeyEvent', { type: 'keyDown', key, code: key === ' ' ? 'Space' : key, ...text });
    await send('Input.dispatchKeyEvent', { type: 'keyUp', key, code: key === ' ' ? 'Space' : key });
  };

  await size(390, 844, true);
  await media('light', 'no-preference');
  await open(page);
  await run(axe);
  const seen = { audits: [], changes: [] };
  seen.heading = await run('document.querySelector("h2").textContent');
  seen.stageHidden = await run('document.getElementById("stage").hidden');
  seen.audits.push(await audit('cautions, light, phone'));
  await picture('phone-cautions');
  await click('#begin');
  await pause(600);
  seen.playing = await run('!document.querySelector("audio").paused && document.querySelector("audio").currentTime > 0.05');
  seen.audits.push(await audit('stage, light, phone'));

  // For some moves: begin a little before, and write down what the sound element says when the words change.
  const cues = await run('JSON.parse(document.getElementById("dance").textContent)');
  const seconds = (beat) => {
    const i = Math.max(0, Math.min(Math.floor(beat), cues.beats.length - 2));
    return cues.beats[i] + (beat - i) * (cues.beats[i + 1] - cues.beats[i]);
  };
  for (const rate of ['1', '0.7']) {
    await click(`input[name=speed][value="${rate}"]`);
    for (let index = 1; index < cues.cues.length && seen.changes.length < 12; index += 2) {
      const cue = cues.cues[index], before = cues.cues[index - 1];
      if (cue.all[0] === before.all[0] || before.end < cue.at) continue;
      const wanted = seconds(cue.at);
      const got = await run(`new Promise((done) => {
        const sound = document.querySelector('audio'), now = document.getElementById('now');
        sound.currentTime = ${wanted - 0.5};
        const end = performance.now() + 4000;
        const look = () => {
          if (sound.paused) sound.play();
          if (!sound.seeking && now.textContent === ${JSON.stringify(cue.all[0])}) return done(sound.currentTime);
          if (performance.now() > end) return done(null);
          setTimeout(look, 1);
        };
        setTimeout(look, 150);
      })`);
      seen.changes.push({ rate: Number(rate), wanted, got, words: cue.all[0] });
    }
  }
  seen.pitch = await run('document.querySelector("audio").preservesPitch');
  await click('input[name=speed][value="1"]');

  // The version and the countdown, at rest in the middle of a move.
  await run('document.querySelector("audio").pause()');
  const middle = cues.cues[1];
  await run(`document.querySelector('audio').currentTime = ${seconds(middle.at + 1.5)}`);
  await pause(300);
  const words = () => run(`({ now: document.getElementById('now').textContent, next: document.getElementById('next').textContent,
    number: document.getElementById('number').textContent,
    stones: document.querySelectorAll('#stones i:not(.past)').length })`);
  seen.standing = await words();
  await picture('phone-stage');
  for (const value of ['seated', 'low']) {
    await click(`input[name=version][value=${value}]`);
    await pause(100);
    seen[value] = (await words()).now;
  }
  await click('input[name=version][value=all]');
  await run('document.activeElement.blur()');
  const time = () => run('document.querySelector("audio").currentTime');
  await press('ArrowRight');
  await pause(100);
  seen.phraseOn = await time();
  await press(' ');
  await pause(250);
  seen.spacePlays = await run('!document.querySelector("audio").paused');
  await press(' ');

  for (const [name, width, height, scheme, motion] of [['laptop-dark', 1280, 720, 'dark', 'no-preference'],
    ['projector-light', 1920, 1080, 'light', 'reduce'], ['small-dark', 320, 568, 'dark', 'reduce']]) {
    await size(width, height);
    await media(scheme, motion);
    await run('scrollTo(0, 0)');
    await pause(200);
    await picture(name);
    seen.audits.push(await audit(name));
    seen.sideways = Math.max(seen.sideways ?? 0, await run('document.documentElement.scrollWidth - innerWidth'));
  }
  seen.requests = requests.filter((url) => !/^(file|blob|about):/.test(url));
  seen.complaints = complaints;
  console.log(JSON.stringify(seen, null, 1));
});
