// A slider beside the tolerance field, which works without it: both say the same number.
(function () {
  const field = document.getElementById("id_visible_ev");
  if (!field) return;
  const slider = document.createElement("input");
  slider.type = "range";
  slider.min = field.min;
  slider.max = field.max;
  slider.step = field.step;
  slider.value = field.value;
  slider.className = "slider";
  slider.setAttribute("aria-label", "My tolerance, EV");
  slider.addEventListener("input", function () { field.value = Number(slider.value).toFixed(2); });
  slider.addEventListener("change", function () { field.dispatchEvent(new Event("change", { bubbles: true })); });
  field.addEventListener("input", function () { slider.value = field.value; });
  field.parentNode.after(slider);
})();
