/* The list of files being sent: each with its state in words, and what to do where something went wrong. */

export class Rows {
  constructor(list, { again }) {
    this.list = list;
    this.again = again;
    this.rows = new Map();
  }

  add(item) {
    const row = element("li");
    const middle = element("div");
    const words = element("p", "state faint");
    const bar = element("progress");
    bar.max = 1;
    bar.setAttribute("aria-label", `Sending ${item.name}`);
    middle.append(element("p", "name state", item.name), words, bar);
    row.append(element("span", "blank"), middle, element("span"));
    this.list.append(row);
    this.rows.set(item, { row, middle, words, bar });
  }

  show(item, words = said(item)) {
    const known = this.rows.get(item);
    if (!known) return;
    known.words.textContent = words;
    known.bar.hidden = item.state !== "sending";
    known.bar.value = item.share ?? 0;
  }

  remove(item) {
    this.rows.get(item)?.row.remove();
    this.rows.delete(item);
  }

  /* The server's own words on a file that it refused. */
  refuse(item, answer) {
    const known = this.rows.get(item);
    const refused = answer && new DOMParser().parseFromString(answer, "text/html").querySelector("li");
    if (refused) known.row.replaceWith(refused);
    else this.complain(item, "The file is larger than the server takes.", false);
    this.rows.delete(item);
  }

  complain(item, words, mayTryAgain = true) {
    const { middle, bar, words: state } = this.rows.get(item);
    const wrong = element("div", "wrong");
    wrong.append(element("p", "", words));
    bar.hidden = true;
    state.hidden = true;
    middle.append(wrong);
    if (!mayTryAgain) return;
    const again = element("button", "plain", "Send it again");
    again.type = "button";
    again.addEventListener("click", () => {
      wrong.remove();
      state.hidden = false;
      this.again(item);
    });
    wrong.append(again);
  }
}

function said(item) {
  const words = {
    reading: "being read from your disk",
    waiting: item.tries > 0 ? "waiting to be sent again" : "waiting",
    sending: item.share < 1 ? `sending, ${Math.floor(100 * (item.share ?? 0))} %` : "sent, being looked at",
    arrived: "arrived",
  };
  return words[item.state] ?? "";
}

function element(name, className = "", text = "") {
  const made = document.createElement(name);
  if (className) made.className = className;
  if (text) made.textContent = text;
  return made;
}
