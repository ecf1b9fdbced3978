// Marks set by hand on one frame, the axis that follows, and the lines for the case file.
function makeCorrection(data, player) {
  const picture = document.getElementById("marking");
  const stage = document.getElementById("stage");
  const byId = (id) => document.getElementById(id);
  const limits = { lens: 2, limbus: 60, ink: data.ink.length };
  const names = { lens: "lens mark", limbus: "limbus", ink: "ink" };
  let marks = { lens: [], limbus: [], ink: [] };
  let order = [];
  let active = false, markedRow = 0, zoom = 0;
  let cross = { x: data.video.width / 2, y: data.video.height / 2 };
  const kept = [];

  function kind() { return document.querySelector("input[name=kind]:checked").value; }

  function atlasFrom(pose, point) {
    const [a, b, c, d, x, y] = pose;
    const size = a * d - b * c, u = point.x - x, v = point.y - y;
    return { x: (d * u - b * v) / size, y: (a * v - c * u) / size };
  }

  function wrapAxis(value) { return ((value % 180) + 180) % 180; }
  function apart(value) { const wrapped = wrapAxis(value); return wrapped > 90 ? wrapped - 180 : wrapped; }
  function angleOf(point) { return Math.atan2(point.y, point.x) * 180 / Math.PI; }

  // Without a pose the ink alone ties the frame to the eye: the mean turn of its marks about the limbus centre.
  function poseFromInk() {
    if (marks.ink.length < 2 || marks.ink.length !== data.ink.length) return null;
    const about = marks.limbus.length >= 5 ? circleCentre(marks.limbus) : mean(marks.ink);
    const [a, b, c, d] = data.upright;
    let x = 0, y = 0;
    marks.ink.forEach((point, index) => {
      const turn = (angleOf(atlasFrom([a, b, c, d, about.x, about.y], point)) - data.ink[index]) * Math.PI / 180;
      x += Math.cos(turn);
      y += Math.sin(turn);
    });
    const turn = Math.atan2(y, x), cos = Math.cos(turn), sin = Math.sin(turn);
    return { pose: [a * cos + b * sin, -a * sin + b * cos, c * cos + d * sin, -c * sin + d * cos, about.x, about.y], zero: 0 };
  }

  function mean(points) {
    return { x: points.reduce((sum, p) => sum + p.x, 0) / points.length, y: points.reduce((sum, p) => sum + p.y, 0) / points.length };
  }

  // Least-squares circle (Kasa 1976): x^2 + y^2 is linear in the centre.
  function circleCentre(points) {
    const about = mean(points);
    let xx = 0, xy = 0, yy = 0, xr = 0, yr = 0;
    for (const point of points) {
      const u = point.x - about.x, v = point.y - about.y, r = u * u + v * v;
      xx += u * u; xy += u * v; yy += v * v; xr += u * r; yr += v * r;
    }
    const size = xx * yy - xy * xy;
    if (Math.abs(size) < 1e-9) return about;
    return { x: about.x + 0.5 * (yy * xr - xy * yr) / size, y: about.y + 0.5 * (xx * yr - xy * xr) / size };
  }

  // Axis in the eye's meridians and what one pixel at one end changes; null where nothing ties the frame to the eye.
  function axisByHand() {
    if (marks.lens.length !== 2) return null;
    const own = data.rows.pose[markedRow];
    const tied = own ? { pose: own, zero: data.zero } : poseFromInk();
    if (!tied) return null;
    const [one, two] = marks.lens.map((point) => atlasFrom(tied.pose, point));
    const pixels = Math.hypot(marks.lens[0].x - marks.lens[1].x, marks.lens[0].y - marks.lens[1].y);
    return { axis: wrapAxis(angleOf({ x: two.x - one.x, y: two.y - one.y }) + tied.zero), pixel: 180 / Math.PI / pixels };
  }

  function tell() {
    const found = axisByHand();
    let text;
    if (!order.length) text = "No marks yet.";
    else if (marks.lens.length < 2) text = "Set " + (2 - marks.lens.length) + " more end" + (marks.lens.length ? "" : "s") + " of the lens marks to see an axis.";
    else if (!found) text = "The eye’s position was not found in this frame. Add all the ink marks to see an axis here; the analysis can use these marks all the same.";
    else {
      text = "By hand: " + degrees(found.axis);
      if (data.planned !== null) text += ", deviation " + signed(apart(found.axis - data.planned));
      const program = data.rows.axis[markedRow];
      text += program === null ? "; the program gives none here" : "; the program: " + degrees(program) + " (" + degrees(data.rows.low[markedRow]) + " to " + degrees(data.rows.high[markedRow]) + "), " + signed(apart(found.axis - program)) + " apart";
      text += ". One pixel at one end is " + found.pixel.toFixed(2) + "°; a click is taken to be good to 2 pixels, the axis to ±" + (1.96 * 2 * Math.SQRT2 * found.pixel).toFixed(1) + "° (95 %) by the clicks alone.";
    }
    if (marks.limbus.length && marks.limbus.length < 5) text += " The limbus needs " + (5 - marks.limbus.length) + " more points.";
    if (marks.ink.length && marks.ink.length !== data.ink.length) text += " Ink: " + marks.ink.length + " of " + data.ink.length + " set.";
    byId("mark-axis").textContent = text;
    byId("mark-keep").disabled = !complete();
  }

  function complete() {
    const counts = [marks.lens.length, marks.limbus.length, marks.ink.length];
    return order.length > 0 && (counts[0] === 0 || counts[0] === 2) && (counts[1] === 0 || counts[1] >= 5) && (counts[2] === 0 || counts[2] === data.ink.length);
  }

  function shape(name, attributes, className) {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    made.setAttribute("class", className);
    picture.appendChild(made);
    return made;
  }

  function drawMarks() {
    picture.replaceChildren();
    if (!active) return;
    const arm = data.video.width / 90;
    for (const [name, points] of Object.entries(marks))
      points.forEach((point, index) => {
        const path = { d: `M${point.x - arm} ${point.y}H${point.x - arm / 4}M${point.x + arm / 4} ${point.y}H${point.x + arm}M${point.x} ${point.y - arm}V${point.y - arm / 4}M${point.x} ${point.y + arm / 4}V${point.y + arm}` };
        shape("path", path, "m-under");
        shape("path", path, "m-over");
        shape("text", { x: point.x + 0.6 * arm, y: point.y - 0.6 * arm, "font-size": 1.5 * arm }, "m-text").textContent = names[name] + " " + (index + 1);
      });
    if (marks.lens.length === 2) {
      const [one, two] = marks.lens;
      shape("line", { x1: one.x, y1: one.y, x2: two.x, y2: two.y, "stroke-dasharray": `${arm} ${2 * arm}` }, "m-over");
    }
    if (document.activeElement === picture) shape("circle", { cx: cross.x, cy: cross.y, r: arm }, "m-over");
    listMarks();
    tell();
  }

  function listMarks() {
    const list = byId("mark-list");
    list.replaceChildren();
    order.forEach((entry, index) => {
      const point = marks[entry.kind][entry.index];
      const item = document.createElement("li");
      item.textContent = names[entry.kind] + " " + (entry.index + 1) + ": " + point.x.toFixed(1) + ", " + point.y.toFixed(1) + " ";
      if (index === order.length - 1) {
        const remove = document.createElement("button");
        remove.type = "button";
        remove.textContent = "Take back";
        remove.addEventListener("click", takeBack);
        item.appendChild(remove);
      }
      list.appendChild(item);
    });
  }

  function add(point) {
    const name = kind();
    if (marks[name].length >= limits[name]) return;
    marks[name].push(point);
    order.push({ kind: name, index: marks[name].length - 1 });
    drawMarks();
  }

  function takeBack() {
    const last = order.pop();
    if (last) marks[last.kind].pop();
    drawMarks();
  }

  function pointOf(event) {
    const box = picture.getBoundingClientRect();
    return { x: (event.clientX - box.left) / box.width * data.video.width - 0.5, y: (event.clientY - box.top) / box.height * data.video.height - 0.5 };
  }

  function setActive(on) {
    active = false;
    if (on) {
      marks = { lens: [], limbus: [], ink: [] };
      order = [];
      document.querySelector("input[name=kind][value=lens]").checked = true;
      player.goToRow(player.row());
      markedRow = player.row();
      active = true;
      stage.scrollIntoView({ block: "nearest" });
    } else setZoom(0);
    if (on) picture.removeAttribute("hidden"); else picture.setAttribute("hidden", "");
    picture.setAttribute("tabindex", "0");
    picture.setAttribute("role", "application");
    picture.setAttribute("aria-label", "The frame at " + clock(data.rows.time[markedRow] || 0) + " for marking by hand");
    for (const id of ["mark-stop", "zoom-in", "zoom-out"]) byId(id).disabled = !on;
    byId("mark-kinds").disabled = !on;
    drawMarks();
    if (on) picture.focus({ preventScroll: true });
  }

  function setZoom(step) {
    zoom = Math.max(0, Math.min(2, step));
    stage.classList.toggle("near2", zoom === 1);
    stage.classList.toggle("near4", zoom === 2);
    const outer = stage.parentElement, about = marks.lens[0] || eyeCentre();
    outer.scrollLeft = about.x / data.video.width * stage.scrollWidth - outer.clientWidth / 2;
    outer.scrollTop = about.y / data.video.height * stage.scrollHeight - outer.clientHeight / 2;
  }

  function eyeCentre() {
    const pose = data.rows.pose[markedRow];
    return pose ? { x: pose[4], y: pose[5] } : { x: data.video.width / 2, y: data.video.height / 2 };
  }

  picture.addEventListener("click", (event) => { cross = pointOf(event); add(cross); });
  picture.addEventListener("focus", drawMarks);
  picture.addEventListener("blur", drawMarks);
  picture.addEventListener("keydown", (event) => {
    const step = event.shiftKey ? 10 : 1;
    const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
    if (moves[event.key]) {
      cross = { x: cross.x + moves[event.key][0], y: cross.y + moves[event.key][1] };
      drawMarks();
    } else if (event.key === "Enter") add({ x: cross.x, y: cross.y });
    else if (event.key === "Backspace") takeBack();
    else return;
    event.preventDefault();
  });
  player.onMove((row) => { if (active && row !== markedRow) setActive(false); });

  function pairs(points) { return "[" + points.map((p) => "[" + p.x.toFixed(1) + ", " + p.y.toFixed(1) + "]").join(", ") + "]"; }

  function tomlOf(anchor) {
    const lines = ["[[anchor]]", "time_s = " + anchor.time.toFixed(6)];
    if (anchor.reader) lines.push("reader = " + tomlText(anchor.reader));
    for (const [name, points] of Object.entries(anchor.marks))
      if (points.length) lines.push({ lens: "lens_marks_px", limbus: "limbus_px", ink: "ink_px" }[name] + " = " + pairs(points));
    return lines.join("\n") + "\n";
  }

  // A basic string of TOML 1.0: quotation marks, backslashes and control characters escaped.
  function tomlText(text) {
    return '"' + Array.from(text, (letter) => letter === '"' || letter === "\\" ? "\\" + letter : letter < " " || letter === "\x7f" ? "\\u" + letter.charCodeAt(0).toString(16).padStart(4, "0") : letter).join("") + '"';
  }

  function cell(row, text) { const made = document.createElement("td"); made.textContent = text; row.appendChild(made); return made; }

  function showKept() {
    byId("kept").hidden = kept.length === 0;
    const body = byId("kept-rows");
    body.replaceChildren();
    kept.forEach((anchor, index) => {
      const row = document.createElement("tr");
      cell(row, clock(anchor.time));
      cell(row, anchor.reader || "–");
      cell(row, anchor.axis === null ? "–" : degrees(anchor.axis));
      cell(row, anchor.program === null ? "–" : degrees(anchor.program));
      cell(row, anchor.axis === null || anchor.program === null ? "–" : signed(apart(anchor.axis - anchor.program)));
      const remove = document.createElement("button");
      remove.type = "button";
      remove.textContent = "Remove";
      remove.setAttribute("aria-label", "Remove the marks at " + clock(anchor.time));
      remove.addEventListener("click", () => { kept.splice(index, 1); showKept(); });
      cell(row, "").appendChild(remove);
      body.appendChild(row);
    });
    byId("toml").value = kept.map(tomlOf).join("\n");
    byId("agreement").textContent = agreement();
    byId("toml-done").textContent = "";
  }

  // Frames that two or more have marked: how far apart their axes lie.
  function agreement() {
    const frames = new Map();
    for (const anchor of kept)
      if (anchor.axis !== null) frames.set(anchor.row, (frames.get(anchor.row) || []).concat(anchor.axis));
    const spreads = [];
    for (const axes of frames.values())
      for (let i = 0; i < axes.length; ++i) for (let j = 0; j < i; ++j) spreads.push(Math.abs(apart(axes[i] - axes[j])));
    if (!spreads.length) return "";
    return "Frames marked more than once agree within " + Math.max(...spreads).toFixed(1) + "° (" + spreads.length + (spreads.length === 1 ? " pair)." : " pairs).");
  }

  byId("mark-start").addEventListener("click", () => setActive(true));
  byId("mark-stop").addEventListener("click", () => setActive(false));
  byId("zoom-in").addEventListener("click", () => setZoom(zoom + 1));
  byId("zoom-out").addEventListener("click", () => setZoom(zoom - 1));
  byId("mark-keep").addEventListener("click", () => {
    const found = axisByHand();
    kept.push({ row: markedRow, time: data.rows.time[markedRow], reader: byId("reader").value.trim(), marks, axis: found ? found.axis : null, program: data.rows.axis[markedRow] });
    setActive(false);
    showKept();
  });
  byId("toml-copy").addEventListener("click", async () => {
    const text = byId("toml");
    try {
      await navigator.clipboard.writeText(text.value);
      byId("toml-done").textContent = "Copied.";
    } catch (refused) {
      text.select();
      byId("toml-done").textContent = document.execCommand("copy") ? "Copied." : "Selected; copy it with the keyboard.";
    }
  });
  byId("toml-save").addEventListener("click", () => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([byId("toml").value], { type: "application/toml" }));
    link.download = "anchors.toml";
    link.click();
    URL.revokeObjectURL(link.href);
    byId("toml-done").textContent = "Saved as anchors.toml.";
  });
}
