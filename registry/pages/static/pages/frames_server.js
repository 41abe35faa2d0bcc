/* What the frames page asks of the server: which files it has, and to take one. */

/* The page's own token goes stale when one signs in again in another tab; the cookie's doesn't. */
function token(form) {
  const cookie = document.cookie.split("; ").find((one) => one.startsWith("csrftoken="));
  return cookie ? cookie.slice("csrftoken=".length) : form.elements.csrfmiddlewaretoken.value;
}

/* Announce files before they are sent → { kind: "known", here: [true, false, …] } in their order, or an outcome as
   upload's. */
export async function announce(form, files) {
  let answer;
  try {
    answer = await fetch(form.dataset.announce, {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-CSRFToken": token(form) },
      body: JSON.stringify({ files }),
      redirect: "manual",
    });
  } catch {
    return { kind: "lost" };
  }
  if (answer.type === "opaqueredirect") return { kind: "signed-out" };
  if (answer.ok) return { kind: "known", ...(await answer.json()) };
  if (answer.status === 422) return { kind: "refused", ...(await answer.json()) };
  return outcomeOf(answer.status, answer.headers.get("Retry-After"));
}

export function upload(form, { file, name }, onShare) {
  const request = new XMLHttpRequest();
  const done = new Promise((resolve) => {
    request.addEventListener("loadend", () => resolve(answered(form, request)));
  });
  const body = new FormData();
  body.append("frames", file, name);
  request.open("POST", form.action);
  request.setRequestHeader("X-One-Frame", "1");
  request.setRequestHeader("X-CSRFToken", token(form));
  request.upload.addEventListener("progress", (event) => {
    if (event.lengthComputable) onShare(event.loaded / event.total);
  });
  request.send(body);
  return { done, abort: () => request.abort() };
}

function answered(form, request) {
  if (request.status === 200) {
    // An answer from another address is the sign-in page's.
    const here = new URL(request.responseURL).pathname === new URL(form.action).pathname;
    return { kind: here ? "arrived" : "signed-out" };
  }
  if (request.status === 422) return { kind: "refused", answer: request.responseText };
  if (request.status === 413) return { kind: "refused", answer: "" };
  return outcomeOf(request.status, request.getResponseHeader("Retry-After"));
}

function outcomeOf(status, after) {
  if (status === 403) return { kind: "signed-out" };
  if (status === 0) return { kind: "lost" };
  return { kind: "busy", status, after: Number(after) || undefined };
}
