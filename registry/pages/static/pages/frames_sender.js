/* Sends files several at a time. A lost connection holds all of them and is tried again, less and less often; a pause
   puts those on their way back into the queue. Nothing that was queued is ever dropped.

   upload(item, onShare) → { done: Promise of an outcome, abort() }, an outcome being { kind, ...}:
     arrived | refused (by the server, for good) | lost (no answer) | busy (ask again later) | signed-out. */

const AT_ONCE = 3;
const LONGEST_WAIT = 30;
const MOST_TRIES = 4; // of one file that the server could not take

export class Sender {
  constructor({ upload, changed }) {
    this.upload = upload;
    this.changed = changed;
    this.items = [];
    this.held = null; // why nothing is sent: "paused" | "signed-out" | "offline" | "lost"
    this.wait = 0; // seconds until the next try
    this.losses = 0;
    addEventListener("offline", () => this.hold("offline"));
    addEventListener("online", () => this.held !== "paused" && this.goOn());
  }

  add(items) {
    for (const item of items) Object.assign(item, { state: "waiting", share: 0, tries: 0 });
    this.items.push(...items);
    this.losses = 0;
    this.sendNext();
  }

  count(state) {
    return this.items.filter((item) => item.state === state).length;
  }

  get unfinished() {
    return this.count("waiting") + this.count("sending");
  }

  pause() {
    this.hold("paused");
  }

  goOn() {
    clearTimeout(this.timer);
    this.held = null;
    this.sendNext();
  }

  again(item) {
    Object.assign(item, { state: "waiting", tries: 0, share: 0 });
    this.sendNext();
  }

  hold(why) {
    clearTimeout(this.timer);
    this.held = why;
    const cut = why === "paused" || why === "offline";
    for (const item of this.items) if (cut && item.state === "sending") item.way.abort();
    this.changed();
  }

  sendNext() {
    for (const item of this.items) {
      if (this.held || this.count("sending") >= AT_ONCE) break;
      if (item.state === "waiting") this.send(item);
    }
    this.changed();
  }

  async send(item) {
    item.state = "sending";
    item.share = 0;
    item.way = this.upload(item, (share) => {
      item.share = share;
      this.changed(item);
    });
    this.ended(item, await item.way.done);
  }

  ended(item, outcome) {
    item.way = null;
    item.outcome = outcome;
    if (outcome.kind === "busy") item.tries += 1;
    if (outcome.kind === "arrived" || outcome.kind === "refused") {
      item.state = outcome.kind;
      this.losses = 0;
      if (this.held === "lost" || this.held === "busy") this.goOn();
    } else if (outcome.kind === "busy" && item.tries >= MOST_TRIES) {
      item.state = "failed";
    } else {
      item.state = "waiting";
      if (!this.held) this.tryLater(outcome);
    }
    this.sendNext();
  }

  tryLater(outcome) {
    if (outcome.kind === "signed-out") return this.hold("signed-out");
    this.losses += 1;
    this.wait = outcome.after ?? Math.min(LONGEST_WAIT, 2 ** (this.losses - 1));
    this.hold(outcome.kind);
    this.countDown();
  }

  countDown() {
    this.timer = setTimeout(() => {
      this.wait -= 1;
      if (this.wait <= 0) return this.goOn();
      this.changed();
      this.countDown();
    }, 1000);
  }
}
