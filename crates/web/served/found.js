// The frame of a scan as it was found: hatching over the rebate, and lines along the edges of
// the picture that run on past its corners, so that no outline of a patch looks like them.

/** How far a line runs on past a corner. [CSS px] */
const PAST = 10;
/** From one stroke of the hatching to the next. [CSS px] */
const APART = 7;
/** Long and short dashes of an edge. [CSS px] */
const DASHES = [14, 4, 3, 4];

/** Draws a frame; `place` gives the place on the canvas of a place in the scan. */
export function drawFound(context, { sides }, place, ratio) {
  for (const { rebate_band_px: band } of sides) {
    hatch(context, band.map(([x, y]) => place(x, y)), ratio);
  }
  for (const { ends_px: ends } of sides) {
    edge(context, ends.map(([x, y]) => place(x, y)), ratio);
  }
}

/** Strokes what was drawn, so that it can be seen on black and on white. */
function stroke(context, path, wide, narrow, ratio) {
  for (const [colour, width] of [['#000', wide], ['#fff', narrow]]) {
    context.strokeStyle = colour;
    context.lineWidth = width * ratio;
    context.stroke(path);
  }
}

function hatch(context, corners, ratio) {
  const band = new Path2D();
  corners.forEach(([x, y], at) => (at === 0 ? band.moveTo(x, y) : band.lineTo(x, y)));
  band.closePath();
  const [xs, ys] = [0, 1].map((axis) => corners.map((corner) => corner[axis]));
  const [left, right] = [Math.max(0, Math.min(...xs)), Math.min(context.canvas.width, Math.max(...xs))];
  const [top, bottom] = [Math.max(0, Math.min(...ys)), Math.min(context.canvas.height, Math.max(...ys))];
  if (left >= right || top >= bottom) return;
  const strokes = new Path2D();
  const step = APART * ratio;
  // Strokes stand still in the scan: x + y is a whole number of steps from a corner.
  const first = corners[0][0] + corners[0][1];
  const from = first + Math.floor((left + top - first) / step) * step;
  for (let sum = from; sum < right + bottom; sum += step) {
    strokes.moveTo(sum - top, top);
    strokes.lineTo(sum - bottom, bottom);
  }
  context.save();
  context.clip(band);
  context.globalAlpha = 0.6;
  stroke(context, strokes, 2, 1, ratio);
  context.restore();
}

function edge(context, [[ax, ay], [bx, by]], ratio) {
  const length = Math.hypot(bx - ax, by - ay) || 1;
  const [dx, dy] = [(PAST * ratio * (bx - ax)) / length, (PAST * ratio * (by - ay)) / length];
  const line = new Path2D();
  line.moveTo(ax - dx, ay - dy);
  line.lineTo(bx + dx, by + dy);
  context.save();
  context.setLineDash(DASHES.map((dash) => dash * ratio));
  stroke(context, line, 3, 1.2, ratio);
  context.restore();
}
