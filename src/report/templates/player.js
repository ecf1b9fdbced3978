// The moment that the page shows: shared by video, plots, tables and marking.
function makePlayer(data) {
  const video = document.getElementById("video");
  const slider = document.getElementById("slider");
  const readout = document.getElementById("readout");
  const playButton = document.getElementById("play");
  const times = data.rows.time;
  const listeners = [];
  let row = 0;

  // The row shown at a time: the last that starts at or before it.
  function rowAt(time) {
    let low = 0, high = times.length - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (times[middle] <= time + 1e-4) low = middle; else high = middle - 1;
    }
    return low;
  }

  // Into the middle of the frame, so that rounding can't show its neighbour.
  function middleOf(index) {
    const next = index + 1 < times.length ? times[index + 1] : times[index] + 1 / (data.video.rate || 25);
    return times[index] + 0.5 * (next - times[index]);
  }

  function describe(index) {
    const rows = data.rows;
    const time = clock(times[index]) + " (frame " + rows.frame[index] + ")";
    const lens = data.words[rows.lens[index]];
    if (rows.axis[index] === null) return time + ": " + lens + "; not read: " + data.reasons[rows.why[index]];
    let text = time + ": " + lens + ", axis " + degrees(rows.axis[index]) + " (" + degrees(rows.low[index]) + " to " + degrees(rows.high[index]) + ")";
    if (rows.deviation[index] !== null) text += ", deviation " + signed(rows.deviation[index]);
    return text + ", within 1° of the truth: " + (rows.confidence[index] > 0.99 ? "over 99" : Math.round(100 * rows.confidence[index])) + " %" + (rows.hand[index] ? ", resting on marks by hand" : "");
  }

  function announce() {
    if (!times.length) return;
    const text = describe(row);
    readout.textContent = text;
    slider.setAttribute("aria-valuenow", String(times[row]));
    slider.setAttribute("aria-valuetext", text);
    for (const listener of listeners) listener(row);
  }

  function goToRow(index) {
    if (!times.length) return;
    row = Math.max(0, Math.min(times.length - 1, index));
    if (video) {
      video.pause();
      video.currentTime = middleOf(row) - data.origin;  // the video begins with the first row
    }
    announce();
  }

  function goToTime(time) { goToRow(rowAt(time)); }

  function still(direction) {
    const now = times[row];
    const starts = data.stills.map((stretch) => stretch.start);
    const found = direction > 0 ? starts.find((start) => rowAt(start) > row) : starts.filter((start) => rowAt(start) < row).pop();
    goToTime(found === undefined ? (direction > 0 ? times[times.length - 1] : 0) : found);
    return now;
  }

  function toggle() {
    if (!video) return;
    if (video.paused) video.play().catch(() => {}); else video.pause();
  }

  function key(event) {
    const step = event.shiftKey ? rowAt(times[row] + (event.key === "ArrowLeft" ? -1 : 1)) - row : (event.key === "ArrowLeft" ? -1 : 1);
    switch (event.key) {
      case "ArrowLeft":
      case "ArrowRight": goToRow(row + step); break;
      case "Home": goToRow(0); break;
      case "End": goToRow(times.length - 1); break;
      case "PageUp": still(-1); break;
      case "PageDown": still(1); break;
      case " ": toggle(); break;
      default: return;
    }
    event.preventDefault();
  }

  document.getElementById("frame-back").addEventListener("click", () => goToRow(row - 1));
  document.getElementById("frame-on").addEventListener("click", () => goToRow(row + 1));
  document.getElementById("still-back").addEventListener("click", () => still(-1));
  document.getElementById("still-on").addEventListener("click", () => still(1));
  playButton.addEventListener("click", toggle);
  playButton.disabled = !video;
  slider.addEventListener("keydown", key);
  for (const button of document.querySelectorAll("button.go"))
    button.addEventListener("click", () => goToTime(Number(button.dataset.time)));
  if (video) {
    const follow = () => {
      const shown = rowAt(video.currentTime + data.origin);
      if (!video.paused && shown !== row) { row = shown; announce(); }
      if (!video.paused) requestAnimationFrame(follow);
    };
    video.addEventListener("play", () => { playButton.textContent = "Pause"; readout.setAttribute("aria-live", "off"); follow(); });
    video.addEventListener("pause", () => { playButton.textContent = "Play"; readout.setAttribute("aria-live", "polite"); });
    video.addEventListener("error", () => { readout.textContent = "review.mp4 does not lie beside this page, or this browser can't play it."; });
  }
  return { goToRow, goToTime, describe, row: () => row, onMove: (listener) => listeners.push(listener), announce, start: () => goToTime(data.first_time) };
}

function clock(seconds) {
  const tenths = Math.round(seconds * 100);
  return Math.floor(tenths / 6000) + ":" + ((tenths % 6000) / 100).toFixed(2).padStart(5, "0");
}

// For people an axis of 0 is written as 180.
function degrees(value) {
  const text = (((value % 180) + 180) % 180).toFixed(1);
  return (text === "0.0" ? "180.0" : text) + "°";
}

function signed(value) {
  const size = Math.abs(value).toFixed(1);
  return size === "0.0" ? "0.0°" : (value < 0 ? "−" : "+") + size + "°";
}
