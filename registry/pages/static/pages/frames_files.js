/* The files of a drop or a choice, those inside folders included, and by what they are known again. */

const NO_PICTURES = /\.(xmp|thm|db|ini|txt|csv|json|xml|html?|pdf|zip|mov|mp4|wav)$/i;

/* Everything that was dropped: { files, leftOut }, where leftOut names what lay in a folder and is no picture. */
export async function filesOf(transfer) {
  const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  if (!entries.some((entry) => entry.isDirectory)) return { files: [...transfer.files], leftOut: [] };
  return picturesAmong((await Promise.all(entries.map(filesIn))).flat());
}

/* A chosen folder also holds what cameras and programs leave beside frames. */
export function picturesAmong(files) {
  const seen = files.filter((file) => !file.name.startsWith("."));
  const pictures = seen.filter((file) => !isNoPicture(file));
  return { files: pictures, leftOut: seen.filter(isNoPicture).map((file) => file.name) };
}

/* SHA-256 in hexadecimal; "" where the browser computes none (pages without https) or can't hold the file. */
export async function contentHash(file) {
  if (!globalThis.crypto?.subtle) return "";
  try {
    const digest = await crypto.subtle.digest("SHA-256", await file.arrayBuffer());
    return Array.from(new Uint8Array(digest), (byte) => byte.toString(16).padStart(2, "0")).join("");
  } catch {
    return "";
  }
}

function isNoPicture(file) {
  return NO_PICTURES.test(file.name) || (file.type !== "" && !file.type.startsWith("image/"));
}

async function filesIn(entry) {
  if (entry.isFile) return [await new Promise((resolve, reject) => entry.file(resolve, reject))];
  const reader = entry.createReader();
  const found = [];
  for (;;) {
    const some = await new Promise((resolve, reject) => reader.readEntries(resolve, reject));
    if (some.length === 0) return found;
    for (const inner of some) found.push(...(await filesIn(inner)));
  }
}
