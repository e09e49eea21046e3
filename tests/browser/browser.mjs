// A headless Chromium, spoken to through a pipe (DevTools protocol, --remote-debugging-pipe): nothing to install for that.
import { spawn } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { pathToFileURL } from 'node:url';

export const pause = (ms) => new Promise((done) => setTimeout(done, ms));

// Starts a browser with one empty page, lets `work` do what it wants with it, and ends it whatever happened. A failure is
// told on standard error and makes the exit status 1.
export const withBrowser = async (work) => {
  const profile = mkdtempSync(join(tmpdir(), 'farandole-browser-'));
  const flags = ['--headless', '--remote-debugging-pipe', `--user-data-dir=${profile}`, '--no-first-run', '--disable-gpu',
    '--disable-quic', '--disable-background-networking', '--disable-component-update', '--disable-sync', '--mute-audio'];
  // Chromium keeps its sandbox except for the superuser, for whom it does not start with one.
  if (process.getuid?.() === 0) flags.push('--no-sandbox');
  const browser = spawn(process.env.CHROMIUM ?? 'chromium', [...flags, 'about:blank'],
    { stdio: ['ignore', 'ignore', 'ignore', 'pipe', 'pipe'] });
  const fail = (why) => { console.error(why); browser.kill(); process.exitCode = 1; process.exit(); };
  browser.on('error', (error) => fail(`chromium is needed ('./start test' installs it): ${error.message}`));
  const late = setTimeout(() => fail('the browser did not answer within two minutes'), 120_000);

  let number = 0, rest = '';
  const waiting = new Map(), requests = [], complaints = [];
  browser.stdio[4].on('data', (chunk) => {
    rest += chunk;
    const parts = rest.split('\0');
    rest = parts.pop();
    for (const part of parts) {
      const message = JSON.parse(part);
      if (message.id) {
        const { done, failed } = waiting.get(message.id);
        waiting.delete(message.id);
        if (message.error) failed(new Error(message.error.message)); else done(message.result);
      } else if (message.method === 'Network.requestWillBeSent') requests.push(message.params.request.url);
      else if (message.method === 'Runtime.exceptionThrown') complaints.push(message.params.exceptionDetails.exception?.description ?? 'exception');
      else if (message.method === 'Log.entryAdded' && message.params.entry.level === 'error') complaints.push(message.params.entry.text);
    }
  });
  let session;
  const send = (method, params = {}) => new Promise((done, failed) => {
    waiting.set(++number, { done, failed });
    browser.stdio[3].write(JSON.stringify({ id: number, method, params, ...(session && { sessionId: session }) }) + '\0');
  });
  const run = async (expression) => {
    const answer = await send('Runtime.evaluate', { expression, awaitPromise: true, returnByValue: true, userGesture: true });
    if (answer.exceptionDetails) throw new Error(answer.exceptionDetails.exception?.description ?? 'exception');
    return answer.result.value;
  };
  const open = async (page) => {
    await send('Page.navigate', { url: pathToFileURL(resolve(page)).href });
    while (await run('document.readyState') !== 'complete') await pause(50);
  };
  try {
    const { targetInfos } = await send('Target.getTargets');
    const target = targetInfos.find((info) => info.type === 'page').targetId;
    ({ sessionId: session } = await send('Target.attachToTarget', { targetId: target, flatten: true }));
    for (const domain of ['Page', 'Runtime', 'Network', 'Log']) await send(`${domain}.enable`);
    await work({ send, run, open, requests, complaints });
  } catch (error) {
    console.error(error.stack);
    process.exitCode = 1;
  } finally {
    clearTimeout(late);
    const gone = new Promise((done) => browser.once('exit', done));
    session = undefined;
    send('Browser.close').catch(() => {});
    await Promise.race([gone, pause(3000)]);
    browser.kill();
    // Its helpers may still be writing; a folder left in the system's scratch space does no harm.
    try { rmSync(profile, { recursive: true, force: true, maxRetries: 10, retryDelay: 100 }); } catch { /* left */ }
  }
};
