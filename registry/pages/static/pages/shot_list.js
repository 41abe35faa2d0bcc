/* The browser's own menu prints the sheet too; the button only saves looking for it. */
const button = document.getElementById("print");
if (button) {
  button.hidden = false;
  button.addEventListener("click", () => print());
}
