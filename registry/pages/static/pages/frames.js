/* Sends dropped frames one by one, several at a time, each with its own progress and its own error. Without this
   script the same form sends them all at once. */
(() => {
  const form = document.getElementById("frames-form");
  const input = document.getElementById("frames");
  const drop = document.getElementById("drop");
  const uploading = document.getElementById("uploading");
  const AT_ONCE = 3;
  const queue = [];
  let running = 0;

  for (const element of document.querySelectorAll(".with-script")) element.hidden = false;
  for (const element of document.querySelectorAll(".without-script")) element.hidden = true;

  input.addEventListener("change", () => {
    add([...input.files]);
    input.value = "";
  });
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
  addEventListener("beforeunload", (event) => {
    if (running + queue.length > 0) event.preventDefault();
  });

  /* Files of a drop, those inside dropped folders included. */
  async function filesOf(transfer) {
    const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
    if (entries.length === 0) return [...transfer.files];
    return (await Promise.all(entries.map(filesIn))).flat();
  }

  async function filesIn(entry) {
    if (entry.isFile) return [await new Promise((resolve, reject) => entry.file(resolve, reject))];
    const reader = entry.createReader();
    const found = [];
    for (;;) {
      const some = await new Promise((resolve, reject) => reader.readEntries(resolve, reject));
      if (some.length === 0) return found;
      for (const inner of some) if (!inner.name.startsWith(".")) found.push(...(await filesIn(inner)));
    }
  }

  function add(files) {
    for (const file of files) queue.push({ file, row: rowFor(file) });
    sendNext();
  }

  function rowFor(file) {
    const row = document.createElement("li");
    const blank = document.createElement("span");
    blank.className = "blank";
    const middle = document.createElement("div");
    const name = document.createElement("p");
    name.className = "name state";
    name.textContent = file.name;
    const bar = document.createElement("progress");
    bar.max = 1;
    bar.value = 0;
    bar.setAttribute("aria-label", `Sending ${file.name}`);
    middle.append(name, bar);
    row.append(blank, middle, document.createElement("span"));
    uploading.append(row);
    return row;
  }

  function sendNext() {
    while (running < AT_ONCE && queue.length > 0) send(queue.shift());
  }

  function send({ file, row }) {
    running += 1;
    const body = new FormData(form);
    body.delete("frames");
    body.append("frames", file, file.name);
    const request = new XMLHttpRequest();
    request.open("POST", form.action);
    request.setRequestHeader("X-One-Frame", "1");
    request.upload.addEventListener("progress", (event) => {
      if (event.lengthComputable) row.querySelector("progress").value = event.loaded / event.total;
    });
    request.addEventListener("loadend", () => {
      running -= 1;
      ended({ file, row, request });
      sendNext();
    });
    request.send(body);
  }

  function ended({ file, row, request }) {
    if (request.status === 200 && stillHere(request)) {
      row.remove();
      htmx.ajax("GET", form.dataset.arrivals, { target: "#arrivals", swap: "outerHTML" });
    } else if (request.status === 422) {
      const refused = new DOMParser().parseFromString(request.responseText, "text/html").querySelector("li");
      row.replaceWith(refused);
    } else {
      sayFailed({ file, row, request });
    }
  }

  /* An answer from another address is the sign-in page's. */
  function stillHere(request) {
    return new URL(request.responseURL).pathname === new URL(form.action).pathname;
  }

  function sayFailed({ file, row, request }) {
    const reasons = {
      0: "The connection broke before the file had arrived.",
      200: "You are no longer signed in. Sign in again in another tab, then",
      403: "You are no longer signed in. Sign in again in another tab, then",
      413: "The file is larger than the server takes.",
    };
    const middle = row.querySelector("div");
    middle.querySelector("progress").remove();
    const wrong = document.createElement("div");
    wrong.className = "wrong";
    const words = document.createElement("p");
    words.textContent = reasons[request.status] ?? `The server answered with error ${request.status}.`;
    const again = document.createElement("button");
    again.type = "button";
    again.className = "plain";
    again.textContent = "Send it again";
    again.addEventListener("click", () => {
      const fresh = rowFor(file);
      row.replaceWith(fresh);
      queue.push({ file, row: fresh });
      sendNext();
    });
    wrong.append(words, again);
    middle.append(wrong);
  }
})();
