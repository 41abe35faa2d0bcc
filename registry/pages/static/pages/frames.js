/* The frames page: a dropped folder is announced, then sent; only what the draft has not got is sent. Without this
   script the same form sends all files at once. */

import { contentHash, filesOf, picturesAmong } from "./frames_files.js";
import { Rows } from "./frames_rows.js";
import { Sender } from "./frames_sender.js";
import { announce, upload } from "./frames_server.js";

const REFRESH_EVERY = 1500; // milliseconds
const at = (id) => document.getElementById(id);
const form = at("frames-form");
const drop = at("drop");
const rows = new Rows(at("uploading"), { again: (item) => sender.again(item) });
const sender = new Sender({ upload: (item, onShare) => upload(form, item, onShare), changed });
const tally = { all: 0, here: 0, read: 0 };
let reading = Promise.resolve();
let refreshing = null;

for (const element of document.querySelectorAll(".with-script")) element.hidden = false;
for (const element of document.querySelectorAll(".without-script")) element.hidden = true;

/* What was chosen while this script was still on its way is taken too. */
function takeFrom(input, read) {
  const take = () => {
    const files = [...input.files];
    input.value = "";
    if (files.length > 0) add(read(files));
  };
  input.addEventListener("change", take);
  take();
}
takeFrom(at("frames"), (files) => ({ files, leftOut: [] }));
takeFrom(at("folder"), picturesAmong);
for (const name of ["dragenter", "dragover"]) {
  drop.addEventListener(name, (event) => {
    event.preventDefault();
    drop.classList.add("over");
  });
}
for (const name of ["dragleave", "drop"]) drop.addEventListener(name, () => drop.classList.remove("over"));
drop.addEventListener("drop", async (event) => {
  event.preventDefault();
  add(await filesOf(event.dataTransfer));
});
at("pause").addEventListener("click", () => (sender.held ? sender.goOn() : sender.pause()));
addEventListener("beforeunload", (event) => {
  if (sender.unfinished > 0 || tally.read < tally.all) event.preventDefault();
});

function add({ files, leftOut }) {
  at("awaited")?.remove();
  say("left-out", leftOut.length ? `Left out, since they are no pictures: ${leftOut.join(", ")}.` : "");
  say("refused-folder", "");
  if (files.length === 0) return;
  const items = files
    .map((file) => ({ file, name: file.name, size: file.size, state: "reading" }))
    .sort((one, other) => one.name.localeCompare(other.name, undefined, { numeric: true }));
  tally.all += items.length;
  for (const item of items) {
    rows.add(item);
    rows.show(item);
  }
  changed();
  reading = reading.then(() => readAndSend(items)); // one folder after the other
}

async function readAndSend(items) {
  for (const item of items) {
    item.sha256 = await contentHash(item.file);
    tally.read += 1;
    changed();
  }
  const answer = await announced(items.map(({ name, size, sha256 }) => ({ name, size, sha256 })));
  if (answer.kind === "refused") return refuseAll(items, answer.problems);
  const twins = new Set();
  const missing = items.filter((item) => !known(item, answer.here) && !repeated(item, twins));
  for (const item of items) if (!missing.includes(item)) rows.remove(item);
  tally.here += items.length - missing.length;
  sender.add(missing);
  refresh();
}

/* The server's answer, however long the connection takes to come back. */
async function announced(files) {
  for (;;) {
    const answer = await announce(form, files);
    if (answer.kind === "known" || answer.kind === "refused") return answer;
    sender.tryLater(answer);
    await new Promise((resolve) => {
      const ask = setInterval(() => {
        if (sender.held) return;
        clearInterval(ask);
        resolve();
      }, 200);
    });
  }
}

function key({ name, size, sha256 }) {
  return sha256 || `${name} ${size}`;
}

function known(item, here) {
  return here.includes(key(item));
}

function repeated(item, seen) {
  const twice = seen.has(key(item));
  seen.add(key(item));
  return twice;
}

function refuseAll(items, problems) {
  for (const item of items) rows.remove(item);
  tally.all -= items.length;
  tally.read -= items.length;
  say("refused-folder", problems.map(({ says, remedy }) => `${says} ${remedy}`).join(" "));
  changed();
}

/* Called whenever something has changed; with an item, only in how much of it is sent. */
function changed(item) {
  if (item) return rows.show(item);
  for (const one of sender.items) settle(one);
  at("sending").hidden = tally.all === 0;
  const busy = sender.unfinished > 0 || tally.read < tally.all;
  at("pause").hidden = !busy && !sender.held;
  at("pause").textContent = { null: "Pause", paused: "Go on", "signed-out": "Go on" }[sender.held] ?? "Try now";
  at("signed-out").hidden = sender.held !== "signed-out";
  const words = stateWords();
  if (at("sending-state").textContent !== words) at("sending-state").textContent = words;
}

function settle(item) {
  rows.show(item);
  if (item.settled === item.state) return;
  item.settled = item.state;
  if (item.state === "arrived") {
    rows.remove(item);
    refresh();
  } else if (item.state === "refused") {
    rows.refuse(item, item.outcome.answer);
  } else if (item.state === "failed") {
    rows.complain(item, `The server could not take this file (error ${item.outcome.status}).`);
  }
}

function stateWords() {
  const arrived = tally.here + sender.count("arrived");
  const parts = [`${arrived} of ${tally.all} have arrived`];
  const refused = sender.count("refused") + sender.count("failed");
  if (tally.here) parts[0] += ` (${tally.here} of them before)`;
  if (refused) parts.push(`${refused} could not be taken`);
  if (tally.read < tally.all) parts.unshift(`Reading file ${tally.read + 1} of ${tally.all}`);
  const why = {
    paused: "Paused.",
    offline: "Your device is offline. Sending goes on by itself once it is back.",
    lost: `The connection is lost. Trying again in ${sender.wait} s.`,
    busy: `The server is busy. Trying again in ${sender.wait} s.`,
  };
  return [why[sender.held], `${parts.join(", ")}.`].filter(Boolean).join(" ");
}

function say(id, words) {
  at(id).textContent = words;
  at(id).hidden = words === "";
}

/* The list of what has arrived, as the server knows it. */
function refresh() {
  refreshing ??= setTimeout(() => {
    refreshing = null;
    htmx.ajax("GET", form.dataset.arrivals, { target: "#arrivals", swap: "outerHTML" });
  }, REFRESH_EVERY);
}
