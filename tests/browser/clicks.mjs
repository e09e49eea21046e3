// Plays the sound of take-home pages in headless Chromium and prints, as JSON, when its clicks come by the clock that the
// words follow: the sound element's `currentTime`.
//   node clicks.mjs PAGE...
// The element is led through Web Audio, whose every sample has a time; the element's clock is laid over that time by the
// median of its readings, since it advances in steps.
import { pause, withBrowser } from './browser.mjs';

const heard = `(async () => {
  const sound = document.querySelector('audio');
  const context = new AudioContext({ sampleRate: 44100 });
  await context.resume();
  const source = context.createMediaElementSource(sound);
  const ear = context.createScriptProcessor(256, 1, 1);
  const clicks = [], readings = [];
  let quiet = true, last = -1;
  ear.onaudioprocess = (event) => {
    const samples = event.inputBuffer.getChannelData(0);
    // What is heard here is one buffer older than the time at which it will be played on.
    const from = event.playbackTime;
    for (let i = 0; i < samples.length; i++) {
      const at = from + i / context.sampleRate;
      if (Math.abs(samples[i]) > 0.3) {
        if (at - last > 0.2) clicks.push(at);
        last = at;
      }
    }
  };
  source.connect(ear);
  ear.connect(context.destination);
  sound.currentTime = 0;
  await sound.play();
  const end = performance.now() + 4000;
  while (performance.now() < end && !sound.ended) {
    readings.push(sound.currentTime - context.currentTime);
    await new Promise((done) => setTimeout(done, 7));
  }
  sound.pause();
  const middle = (list) => list.sort((a, b) => a - b)[list.length >> 1];
  const lead = middle(readings.slice(20));
  return { clicks: clicks.map((at) => at + lead), length: sound.duration };
})()`;

await withBrowser(async ({ run, open }) => {
  const pages = [];
  for (const page of process.argv.slice(2)) {
    await open(page);
    await pause(200);
    await run('document.getElementById("begin").click()');
    await run('document.querySelector("audio").pause()');
    pages.push(await run(heard));
  }
  console.log(JSON.stringify(pages));
});
