// One picture on the light table: tiles of 16-bit codes, drawn by the table of
// densities, moved and magnified by pointer and keys.
import { drawFound } from './found.js';
import { densityOf, greys } from './light.js';

const MOST_TILES = 96;

/** A picture on a canvas. Tells `moved` when it was moved, `pointed` what is under the pointer. */
export class View {
  constructor(canvas, scan, frame, { moved, pointed }) {
    this.canvas = canvas;
    this.scan = scan;
    this.frame = frame;
    this.moved = moved;
    this.pointed = pointed;
    this.tiles = new Map();
    this.outlines = frame.outlines;
    this.proposed = [];
    this.found = null;
    this.draft = null;
    this.outlining = null;
    this.pointer = null;
    this.greys = greys(scan.table, { lift: 0, positive: null });
    this.bounds = this.clipped(frame.bounds_px ?? [0, 0, scan.levels[0].width, scan.levels[0].height]);
    this.listen();
    new ResizeObserver(() => this.resized()).observe(canvas);
    this.resized();
  }

  clipped([left, top, right, bottom]) {
    const { width, height } = this.scan.levels[0];
    return [Math.max(0, left), Math.max(0, top), Math.min(width, right), Math.min(height, bottom)];
  }

  resized() {
    const { width, height } = this.canvas.getBoundingClientRect();
    const ratio = devicePixelRatio || 1;
    if (width === 0) return;
    this.canvas.width = Math.round(width * ratio);
    this.canvas.height = Math.round(height * ratio);
    this.ratio = ratio;
    if (!this.place || this.whole) this.fit();
    else this.draw();
  }

  /** Shows at once all that is there at the size that the picture has now, for paper. */
  settled() {
    this.resized();
    this.drawNow();
  }

  /** Shows the whole frame, and goes on doing so when the canvas gets another size. */
  fit() {
    this.whole = true;
    const [left, top, right, bottom] = this.bounds;
    const scale = Math.min(this.canvas.width / (right - left), this.canvas.height / (bottom - top));
    this.place = { x: (left + right) / 2, y: (top + bottom) / 2, scale };
    this.draw();
  }

  /** Where the view is, as shares of the frame, so that another frame can follow. */
  share() {
    const [left, top, right, bottom] = this.bounds;
    const fitting = Math.min(this.canvas.width / (right - left), this.canvas.height / (bottom - top));
    return {
      x: (this.place.x - left) / (right - left),
      y: (this.place.y - top) / (bottom - top),
      zoom: this.place.scale / fitting,
    };
  }

  follow({ x, y, zoom }) {
    const [left, top, right, bottom] = this.bounds;
    const fitting = Math.min(this.canvas.width / (right - left), this.canvas.height / (bottom - top));
    this.place = { x: left + x * (right - left), y: top + y * (bottom - top), scale: zoom * fitting };
    this.whole = x === 0.5 && y === 0.5 && zoom === 1;
    this.draw();
  }

  /** Shows the picture otherwise; what is under the pointer is told as before. */
  look(look) {
    this.greys = greys(this.scan.table, look);
    for (const tile of this.tiles.values()) tile.picture = null;
    this.draw();
  }

  /** Shows outlines that were found and are not kept. */
  propose(outlines) {
    this.proposed = outlines ?? [];
    this.draw();
  }

  /** Shows the edges and the rebate that were found, or hides them. */
  showFound(shown) {
    this.found = shown && this.frame.frame_found?.found ? this.frame.frame_found : null;
    this.draw();
  }

  toScan(x, y) {
    return [
      this.place.x + (x * this.ratio - this.canvas.width / 2) / this.place.scale,
      this.place.y + (y * this.ratio - this.canvas.height / 2) / this.place.scale,
    ];
  }

  toCanvas(x, y) {
    return [
      (x - this.place.x) * this.place.scale + this.canvas.width / 2,
      (y - this.place.y) * this.place.scale + this.canvas.height / 2,
    ];
  }

  move(dx, dy) {
    this.place.x -= (dx * this.ratio) / this.place.scale;
    this.place.y -= (dy * this.ratio) / this.place.scale;
    this.whole = false;
    this.held();
    this.draw();
    this.moved(this);
  }

  zoom(factor, x, y) {
    const [sx, sy] = this.toScan(x, y);
    const [left, top, right, bottom] = this.bounds;
    const least = 0.5 * Math.min(this.canvas.width / (right - left), this.canvas.height / (bottom - top));
    this.place.scale = Math.min(40, Math.max(least, this.place.scale * factor));
    const [nx, ny] = this.toScan(x, y);
    this.place.x += sx - nx;
    this.place.y += sy - ny;
    this.whole = false;
    this.held();
    this.draw();
    this.moved(this);
  }

  held() {
    const { width, height } = this.scan.levels[0];
    this.place.x = Math.min(width, Math.max(0, this.place.x));
    this.place.y = Math.min(height, Math.max(0, this.place.y));
  }

  /** The level whose pixels are just finer than the screen's. */
  level() {
    const wanted = Math.floor(Math.log2(1 / this.place.scale) + 0.001);
    return Math.max(0, Math.min(this.scan.levels.length - 1, wanted));
  }

  tile(level, column, row) {
    const key = `${level}/${column}/${row}`;
    const known = this.tiles.get(key);
    if (known) {
      this.tiles.delete(key);
      this.tiles.set(key, known);
      return known;
    }
    const tile = { codes: null, picture: null };
    this.tiles.set(key, tile);
    if (this.tiles.size > MOST_TILES) {
      const [oldest] = this.tiles.keys();
      this.tiles.delete(oldest);
    }
    this.loading = (this.loading ?? 0) + 1;
    fetch(`${this.scan.tiles}/${key}`)
      .then((answer) => (answer.ok ? answer.arrayBuffer() : Promise.reject(new Error('no tile'))))
      .then((bytes) => {
        tile.codes = new Uint16Array(bytes);
        this.draw();
      })
      .catch(() => this.tiles.delete(key))
      .finally(() => {
        this.loading -= 1;
        this.canvas.dataset.missing = String(this.loading);
      });
    this.canvas.dataset.missing = String(this.loading);
    return tile;
  }

  picture(tile, level, column, row) {
    if (!tile.codes) return null;
    if (tile.picture) return tile.picture;
    const side = this.scan.tile_side;
    const { width, height } = this.scan.levels[level];
    const w = Math.min(side, width - column * side);
    const h = Math.min(side, height - row * side);
    const image = new ImageData(w, h);
    for (let at = 0; at < w * h; at += 1) {
      const value = this.greys[tile.codes[at]];
      image.data[4 * at] = value;
      image.data[4 * at + 1] = value;
      image.data[4 * at + 2] = value;
      image.data[4 * at + 3] = 255;
    }
    const picture = document.createElement('canvas');
    picture.width = w;
    picture.height = h;
    picture.getContext('2d').putImageData(image, 0, 0);
    tile.picture = picture;
    return picture;
  }

  draw() {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => {
      this.waiting = false;
      this.drawNow();
    });
  }

  drawNow() {
    const context = this.canvas.getContext('2d');
    context.fillStyle = '#777777';
    context.fillRect(0, 0, this.canvas.width, this.canvas.height);
    const level = this.level();
    // A coarser level first, so that something is there while tiles come.
    const last = this.scan.levels.length - 1;
    if (level < last) this.drawLevel(context, last);
    this.drawLevel(context, level);
    if (this.found) drawFound(context, this.found, (x, y) => this.toCanvas(x, y), this.ratio);
    this.drawOutlines(context);
    if (document.activeElement === this.canvas && !this.pointer) this.drawCross(context);
    this.drawn = true;
  }

  drawLevel(context, level) {
    const factor = 2 ** level;
    const side = this.scan.tile_side;
    const size = this.scan.levels[level];
    const [left, top] = this.toScan(0, 0).map((v) => Math.floor(v / factor / side));
    const [right, bottom] = this.toScan(this.canvas.width / this.ratio, this.canvas.height / this.ratio)
      .map((v) => Math.floor(v / factor / side));
    context.imageSmoothingEnabled = this.place.scale * factor < 1;
    for (let row = Math.max(0, top); row <= Math.min(bottom, size.rows - 1); row += 1) {
      for (let column = Math.max(0, left); column <= Math.min(right, size.columns - 1); column += 1) {
        const picture = this.picture(this.tile(level, column, row), level, column, row);
        if (!picture) continue;
        const [x, y] = this.toCanvas(column * side * factor, row * side * factor);
        const scale = this.place.scale * factor;
        const [x2, y2] = [x + picture.width * scale, y + picture.height * scale];
        // Whole pixels, so that tiles meet without a seam.
        context.drawImage(picture, Math.round(x), Math.round(y), Math.round(x2) - Math.round(x), Math.round(y2) - Math.round(y));
      }
    }
  }

  drawOutlines(context) {
    const ratio = this.ratio;
    context.font = `600 ${14 * ratio}px 'Source Sans 3', sans-serif`;
    context.textBaseline = 'bottom';
    context.lineJoin = 'round';
    const all = [...this.outlines, ...this.proposed, ...(this.draft ? [this.draft] : [])];
    const written = [];
    const named = new Set();
    for (const outline of all) {
      const corners = outline.corners_px.map(([x, y]) => this.toCanvas(x, y));
      const path = new Path2D();
      corners.forEach(([x, y], at) => (at === 0 ? path.moveTo(x, y) : path.lineTo(x, y)));
      path.closePath();
      // A halo, so that it can be seen on black and on white.
      const step = outline.kind === 'tablet_step';
      context.setLineDash(outline.carried_from || outline.proposed ? [6 * ratio, 4 * ratio] : []);
      context.strokeStyle = '#000';
      context.lineWidth = (step ? 2 : 3.5) * ratio;
      context.stroke(path);
      context.strokeStyle = outline === this.draft ? '#ffd24a' : '#fff';
      context.lineWidth = (step ? 0.8 : 1.4) * ratio;
      context.stroke(path);
      context.setLineDash([]);
      const wide = Math.max(...corners.map(([x]) => x)) - Math.min(...corners.map(([x]) => x));
      const [x, y] = [Math.min(...corners.map(([cx]) => cx)), Math.min(...corners.map(([, cy]) => cy))];
      if (step && !named.has(outline.tablet)) {
        named.add(outline.tablet);
        this.label(context, [outline.tablet, outline.proposed ? 'as found' : ''], this.tabletCorner(all, outline), written);
      }
      if (step && wide < 22 * ratio) continue;
      if (step) this.write(context, outline.letter, [x + 2 * ratio, y + 16 * ratio]);
      else this.label(context, [outline.letter, /^\d/.test(outline.letter) ? '' : outline.patch ?? ''], [x, y - 2 * ratio], written);
    }
  }

  /** The upper left corner of a tablet on the canvas. */
  tabletCorner(all, { tablet }) {
    const corners = all
      .filter((o) => o.tablet === tablet)
      .flatMap((o) => o.corners_px)
      .map(([x, y]) => this.toCanvas(x, y));
    return [Math.min(...corners.map(([x]) => x)), Math.min(...corners.map(([, y]) => y)) - 2 * this.ratio];
  }

  /** Writes a letter with its name where there is room, else the letter alone. */
  label(context, [letter, name], [x, above], written) {
    const high = 16 * this.ratio;
    // An outline at the upper edge has its letter inside.
    const y = above > 0 ? Math.max(above, high) : above;
    const room = (text) => {
      const box = [x, y - high, x + context.measureText(text).width, y];
      const free = written.every(([l, t, r, b]) => box[0] > r || box[2] < l || box[1] > b || box[3] < t);
      return free && box[2] < this.canvas.width ? box : null;
    };
    const both = `${letter} ${name}`.trim();
    const box = room(both);
    written.push(box ?? [x, y - high, x + context.measureText(letter).width, y]);
    this.write(context, box ? both : letter, [x, y]);
  }

  /** Text that can be read on black and on white. */
  write(context, text, at) {
    context.lineWidth = 4 * this.ratio;
    context.strokeStyle = '#000';
    context.fillStyle = '#fff';
    context.strokeText(text, ...at);
    context.fillText(text, ...at);
  }

  drawCross(context) {
    const [x, y, arm] = [this.canvas.width / 2, this.canvas.height / 2, 12 * this.ratio];
    for (const [colour, width] of [['#000', 3.5], ['#fff', 1.4]]) {
      context.strokeStyle = colour;
      context.lineWidth = width * this.ratio;
      context.beginPath();
      context.moveTo(x - arm, y);
      context.lineTo(x + arm, y);
      context.moveTo(x, y - arm);
      context.lineTo(x, y + arm);
      context.stroke();
    }
  }

  /** What lies at a place of the canvas: pixel, code, density, and how many pixels it is the mean of. */
  at(x, y) {
    const [sx, sy] = this.toScan(x, y);
    const level = this.level();
    const factor = 2 ** level;
    const side = this.scan.tile_side;
    const { width, height } = this.scan.levels[level];
    const [px, py] = [Math.floor(sx / factor), Math.floor(sy / factor)];
    if (px < 0 || py < 0 || px >= width || py >= height) return null;
    const [column, row] = [Math.floor(px / side), Math.floor(py / side)];
    const codes = this.tile(level, column, row).codes;
    if (!codes) return null;
    const w = Math.min(side, width - column * side);
    const code = codes[(py - row * side) * w + (px - column * side)];
    return { x: Math.floor(sx), y: Math.floor(sy), code, density: densityOf(this.scan.table, code), of: factor };
  }

  tellMiddle() {
    this.pointed(this, this.at(this.canvas.width / this.ratio / 2, this.canvas.height / this.ratio / 2));
  }

  listen() {
    const canvas = this.canvas;
    const down = new Map();
    let apart = 0;
    const here = (event) => {
      const box = canvas.getBoundingClientRect();
      return [event.clientX - box.left, event.clientY - box.top];
    };
    canvas.addEventListener('pointerdown', (event) => {
      canvas.setPointerCapture(event.pointerId);
      down.set(event.pointerId, here(event));
      if (this.outlining && down.size === 1) {
        const [x, y] = this.toScan(...here(event));
        this.corner = [x, y];
      }
    });
    canvas.addEventListener('pointermove', (event) => {
      const now = here(event);
      this.pointer = now;
      this.pointed(this, this.at(...now));
      const before = down.get(event.pointerId);
      if (!before) return;
      if (this.outlining && this.corner && down.size === 1) {
        this.setDraft(this.corner, this.toScan(...now));
      } else if (down.size === 1) {
        this.move(now[0] - before[0], now[1] - before[1]);
      } else if (down.size === 2) {
        down.set(event.pointerId, now);
        const [[ax, ay], [bx, by]] = [...down.values()];
        const distance = Math.hypot(ax - bx, ay - by);
        if (apart > 0) this.zoom(distance / apart, (ax + bx) / 2, (ay + by) / 2);
        apart = distance;
      }
      down.set(event.pointerId, now);
    });
    const up = (event) => {
      down.delete(event.pointerId);
      apart = 0;
      if (this.outlining && this.corner && this.draft) this.outlining(this);
      this.corner = null;
    };
    canvas.addEventListener('pointerup', up);
    canvas.addEventListener('pointercancel', up);
    canvas.addEventListener('pointerleave', () => {
      this.pointer = null;
      this.pointed(this, null);
    });
    canvas.addEventListener('wheel', (event) => {
      // Without a key the page scrolls on, as everywhere.
      if (!event.ctrlKey && !event.shiftKey && document.activeElement !== canvas) return;
      event.preventDefault();
      this.zoom(2 ** (-(event.deltaY || event.deltaX) / 300), ...here(event));
    }, { passive: false });
    canvas.addEventListener('dblclick', (event) => this.zoom(2, ...here(event)));
    canvas.addEventListener('focus', () => this.draw());
    canvas.addEventListener('blur', () => this.draw());
    canvas.addEventListener('keydown', (event) => {
      const middle = [canvas.width / this.ratio / 2, canvas.height / this.ratio / 2];
      const step = event.shiftKey ? 1 / (this.ratio / this.place.scale) : 40;
      const keys = {
        ArrowLeft: () => this.move(step, 0),
        ArrowRight: () => this.move(-step, 0),
        ArrowUp: () => this.move(0, step),
        ArrowDown: () => this.move(0, -step),
        '+': () => this.zoom(1.5, ...middle),
        '=': () => this.zoom(1.5, ...middle),
        '-': () => this.zoom(1 / 1.5, ...middle),
        // Corners of an outline, one after the other, at the cross.
        Enter: () => {
          if (!this.outlining) return;
          const here = this.toScan(...middle);
          if (this.corner) {
            this.setDraft(this.corner, here);
            this.corner = null;
            this.outlining(this);
          } else {
            this.corner = here;
          }
        },
        1: () => this.zoom(1 / this.place.scale, ...middle),
        0: () => {
          this.fit();
          this.moved(this);
        },
      };
      const act = keys[event.key];
      if (!act || event.ctrlKey || event.metaKey || event.altKey) return;
      event.preventDefault();
      this.pointer = null;
      act();
      if (this.outlining && this.corner) this.setDraft(this.corner, this.toScan(...middle));
      this.tellMiddle();
    });
  }

  setDraft([ax, ay], [bx, by]) {
    const [left, top] = [Math.max(0, Math.round(Math.min(ax, bx))), Math.max(0, Math.round(Math.min(ay, by)))];
    const [right, bottom] = [Math.round(Math.max(ax, bx)), Math.round(Math.max(ay, by))];
    this.draft = {
      kind: 'patch',
      letter: 'new',
      corners_px: [[left, top], [right, top], [right, bottom], [left, bottom]],
      box: { x_px: left, y_px: top, width_px: Math.max(1, right - left), height_px: Math.max(1, bottom - top) },
    };
    this.draw();
  }
}
