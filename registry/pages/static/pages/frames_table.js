/* The keyboard in the table of frames: arrows and Enter move between cells, Escape brings a cell back, Ctrl with Enter
   keeps the table, a pasted column fills downwards, Shift with a click ticks a range. Without this script it is a plain form. */
(() => {
  const table = document.getElementById("frames-table");
  if (!table) return;
  const rows = [...table.tBodies[0].rows];
  const cellsOf = (row) => [...row.querySelectorAll("[data-cell]")];
  const ticks = rows.map((row) => row.querySelector("input[type=checkbox]"));
  let lastTick = 0;

  for (const element of document.querySelectorAll(".with-script")) element.hidden = false;
  for (const cell of rows.flatMap(cellsOf)) cell.dataset.before = cell.value;

  table.addEventListener("keydown", (event) => {
    const cell = event.target;
    if (!cell.dataset.cell || event.altKey || event.metaKey) return;
    if (event.key === "Enter" && event.ctrlKey) {
      event.preventDefault();
      table.closest("form").querySelector(".keep button").click();
      return;
    }
    const step = stepOf(event, cell);
    if (event.key === "Escape") restore(cell);
    else if (!step || !go(cell, ...step)) return;
    event.preventDefault();
  });

  table.addEventListener("paste", (event) => {
    const values = event.clipboardData.getData("text").trim().split(/\r?\n/);
    if (!event.target.dataset.cell || values.length < 2) return;
    event.preventDefault();
    const { row, column } = placeOf(event.target);
    values.forEach((value, index) => {
      const cell = rows[row + index] && cellsOf(rows[row + index])[column];
      if (cell?.type === "text") cell.value = value.split("\t")[0].trim();
    });
  });

  table.addEventListener("click", (event) => {
    const clicked = ticks.indexOf(event.target);
    if (clicked < 0) return;
    if (event.shiftKey) {
      const [from, to] = [Math.min(lastTick, clicked), Math.max(lastTick, clicked)];
      for (let place = from; place <= to; place += 1) ticks[place].checked = event.target.checked;
    }
    lastTick = clicked;
  });

  /* Where a key leads: [rows, columns], or null where it is the field's own. Left and right leave a text only from
     its ends, and a list keeps its up and down. */
  function stepOf({ key, shiftKey, ctrlKey }, cell) {
    if (key === "Enter") return [shiftKey ? -1 : 1, 0];
    if (ctrlKey || shiftKey) return null;
    const isList = cell.tagName === "SELECT";
    if (key === "ArrowDown") return isList ? null : [1, 0];
    if (key === "ArrowUp") return isList ? null : [-1, 0];
    const [start, end] = isList ? [0, 0] : [cell.selectionStart, cell.selectionEnd];
    const whole = !isList && start === 0 && end === cell.value.length;
    if (key === "ArrowRight") return isList || whole || start === cell.value.length ? [0, 1] : null;
    if (key === "ArrowLeft") return isList || whole || end === 0 ? [0, -1] : null;
    return null;
  }

  function placeOf(cell) {
    const row = rows.indexOf(cell.closest("tr"));
    return { row, column: cellsOf(rows[row]).indexOf(cell) };
  }

  function go(cell, down, along) {
    const { row, column } = placeOf(cell);
    const target = rows[row + down] && cellsOf(rows[row + down])[column + along];
    if (!target) return cell.tagName === "INPUT" && down !== 0; // Enter in the last row sends nothing by accident
    target.focus();
    target.select?.();
    return true;
  }

  function restore(cell) {
    cell.value = cell.dataset.before;
    cell.select?.();
  }
})();
