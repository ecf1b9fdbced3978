// Unpacks the data of the page and sets everything going.
(function () {
  const data = JSON.parse(document.getElementById("data").textContent);
  // Poses are held as six columns of numbers; nulls where the eye was not found.
  data.rows.pose = data.rows.eye.split("").map((seen, index) => seen === "1" ? data.rows.poses.map((column) => column[index]) : null);
  document.querySelector(".stage-outer").style.setProperty("--aspect", String(data.video.width / Math.max(1, data.video.height)));
  const player = makePlayer(data);
  makeCharts(data, player);
  makeCurve(data.curve, data.final_axis);
  makeCorrection(data, player);
  player.start();
})();
