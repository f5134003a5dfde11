// The chart on its canvas: where it lies, how large, and how it is drawn.

import { store } from "./store.js";

const PAPER = "#fbf7ee";
const RULE = "rgba(70, 55, 40, 0.22)";
const TENTH = "rgba(60, 45, 30, 0.62)";
const INK = "#2b211b";
const MARK = "#1a56b0";
const MARGIN = 24;

export class ChartView {
  constructor(canvas) {
    this.canvas = canvas;
    this.pen = canvas.getContext("2d");
    this.cells = document.createElement("canvas");
    this.scale = 1;
    this.left = 0;
    this.top = 0;
    this.fitted = true;
    this.cursor = null; // {row, col} of a stitch, or of a hole with the line tool
    this.cursorOnHole = false;
    this.area = null; // {row, col, rows, cols}
    this.floating = null; // {row, col, rows, cols, cells, lines}
    this.draft = null; // line being drawn
    this.due = false;
    new ResizeObserver(() => this.resize()).observe(canvas);
  }

  resize() {
    const box = this.canvas.getBoundingClientRect();
    if (!box.width || !box.height) return;
    const ratio = window.devicePixelRatio || 1;
    this.width = box.width;
    this.height = box.height;
    this.canvas.width = Math.round(box.width * ratio);
    this.canvas.height = Math.round(box.height * ratio);
    if (this.fitted) this.fit();
    this.draw(true);
  }

  fit() {
    const grid = store.grid;
    if (!grid || !this.width) return;
    this.fitted = true;
    this.scale = Math.min((this.width - 2 * MARGIN) / grid.columns, (this.height - 2 * MARGIN) / grid.rows);
    this.scale = Math.max(0.3, Math.min(this.scale, 40));
    this.left = (this.width - this.scale * grid.columns) / 2;
    this.top = (this.height - this.scale * grid.rows) / 2;
    this.draw();
  }

  zoom(factor, x = this.width / 2, y = this.height / 2) {
    const scale = Math.max(0.3, Math.min(64, this.scale * factor));
    const ratio = scale / this.scale;
    this.left = x - (x - this.left) * ratio;
    this.top = y - (y - this.top) * ratio;
    this.scale = scale;
    this.fitted = false;
    this.holdInside();
    this.draw();
  }

  pan(dx, dy) {
    this.left += dx;
    this.top += dy;
    this.fitted = false;
    this.holdInside();
    this.draw();
  }

  holdInside() {
    const grid = store.grid;
    const wide = grid.columns * this.scale;
    const high = grid.rows * this.scale;
    this.left = Math.max(Math.min(this.left, this.width - 40), 40 - wide);
    this.top = Math.max(Math.min(this.top, this.height - 40), 40 - high);
  }

  /** Brings a stitch into sight. */
  reveal(row, col) {
    const x = this.left + col * this.scale;
    const y = this.top + row * this.scale;
    const room = MARGIN + this.scale;
    let dx = 0;
    let dy = 0;
    if (x < room) dx = room - x;
    if (x + this.scale > this.width - room) dx = this.width - room - x - this.scale;
    if (y < room) dy = room - y;
    if (y + this.scale > this.height - room) dy = this.height - room - y - this.scale;
    if ((dx || dy) && !this.fitted) this.pan(dx, dy);
  }

  /** Place in stitches (fractions allowed) under a point of the canvas. */
  place(x, y) {
    return { row: (y - this.top) / this.scale, col: (x - this.left) / this.scale };
  }

  draw(now = false) {
    if (now) {
      this.paint();
      return;
    }
    if (this.due) return;
    this.due = true;
    requestAnimationFrame(() => {
      this.due = false;
      this.paint();
    });
  }

  refreshCells() {
    const grid = store.grid;
    const { columns, rows } = grid;
    this.cells.width = columns;
    this.cells.height = rows;
    const pen = this.cells.getContext("2d");
    const image = pen.createImageData(columns, rows);
    const pixels = new Uint32Array(image.data.buffer);
    const [red, green, blue] = stitchColour();
    const on = (255 << 24) | (blue << 16) | (green << 8) | red;
    for (let at = 0; at < pixels.length; at += 1) if (grid.cells[at]) pixels[at] = on;
    pen.putImageData(image, 0, 0);
    this.cellsFor = grid;
    this.colourFor = stitchColour().join();
  }

  setCell(row, col, on) {
    store.grid.set(row, col, on);
    const pen = this.cells.getContext("2d");
    pen.clearRect(col, row, 1, 1);
    if (on) {
      pen.fillStyle = `rgb(${stitchColour().join()})`;
      pen.fillRect(col, row, 1, 1);
    }
    this.draw();
  }

  paint() {
    const grid = store.grid;
    if (!grid || !this.width) return;
    if (this.cellsFor !== grid || this.colourFor !== stitchColour().join()) this.refreshCells();
    const { pen, scale, left, top } = this;
    const ratio = this.canvas.width / this.width;
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, this.width, this.height);
    const wide = grid.columns * scale;
    const high = grid.rows * scale;
    pen.fillStyle = PAPER;
    pen.fillRect(left, top, wide, high);
    pen.imageSmoothingEnabled = scale * ratio < 1.5;
    pen.drawImage(this.cells, left, top, wide, high);
    this.paintRules(grid, wide, high);
    this.paintLines(grid.lines, false);
    this.paintMotifEdge();
    this.paintMarked();
    this.paintDoubtful();
    if (this.area) this.paintArea(this.area);
    if (this.floating) this.paintFloating();
    if (this.draft) this.paintLines([this.draft], true);
    this.paintCursor();
    this.paintNumbers(grid);
    document.documentElement.dataset.drawn = String((Number(document.documentElement.dataset.drawn) || 0) + 1);
  }

  paintRules(grid, wide, high) {
    const { pen, scale, left, top } = this;
    const rule = (step, colour, width) => {
      pen.strokeStyle = colour;
      pen.lineWidth = width;
      pen.beginPath();
      const firstCol = Math.max(0, Math.floor(-left / scale / step) * step);
      for (let col = firstCol; col <= grid.columns; col += step) {
        const x = left + col * scale;
        if (x > this.width) break;
        pen.moveTo(x, Math.max(top, 0));
        pen.lineTo(x, Math.min(top + high, this.height));
      }
      const firstRow = Math.max(0, Math.floor(-top / scale / step) * step);
      for (let row = firstRow; row <= grid.rows; row += step) {
        const y = top + row * scale;
        if (y > this.height) break;
        pen.moveTo(Math.max(left, 0), y);
        pen.lineTo(Math.min(left + wide, this.width), y);
      }
      pen.stroke();
    };
    if (scale >= 4.5) rule(1, RULE, 1);
    if (scale >= 1.6) rule(10, TENTH, scale >= 4.5 ? 1.5 : 0.75);
    pen.strokeStyle = TENTH;
    pen.lineWidth = 1.5;
    pen.strokeRect(left, top, wide, high);
  }

  paintLines(lines, draft) {
    const { pen, scale, left, top } = this;
    if (!lines.length) return;
    const path = new Path2D();
    for (const [a, b, c, d] of lines) {
      path.moveTo(left + b * scale, top + a * scale);
      path.lineTo(left + d * scale, top + c * scale);
    }
    pen.lineCap = "round";
    pen.strokeStyle = PAPER;
    pen.lineWidth = Math.max(2.5, scale * 0.34);
    if (scale >= 5) pen.stroke(path);
    pen.strokeStyle = draft ? MARK : INK;
    pen.lineWidth = Math.max(1.2, scale * 0.18);
    pen.stroke(path);
  }

  paintMotifEdge() {
    const motif = store.view?.motif;
    const grid = store.grid;
    if (!motif || (motif[2] === grid.rows && motif[3] === grid.columns) || this.scale < 2) return;
    const { pen, scale, left, top } = this;
    pen.setLineDash([5, 4]);
    pen.strokeStyle = "rgba(26, 86, 176, 0.7)";
    pen.lineWidth = 1;
    pen.strokeRect(left + motif[1] * scale, top + motif[0] * scale, motif[3] * scale, motif[2] * scale);
    pen.setLineDash([]);
  }

  /** Parts of the picture that are kept in full detail or left out. */
  paintMarked() {
    const areas = store.view?.areas ?? [];
    if (!areas.length || this.scale < 1) return;
    const correcting = document.body.classList.contains("editing");
    const { pen, scale, left, top } = this;
    for (const area of areas) {
      const points = area.corners.map(([row, col]) => [left + col * scale, top + row * scale]);
      const edge = new Path2D();
      points.forEach(([x, y], at) => (at ? edge.lineTo(x, y) : edge.moveTo(x, y)));
      edge.closePath();
      const out = area.do === "clear";
      if (out && correcting) this.hatch(edge, points);
      pen.lineJoin = "round";
      pen.strokeStyle = PAPER;
      pen.lineWidth = 4;
      pen.stroke(edge);
      pen.setLineDash(out ? [2, 4] : [10, 4]);
      pen.strokeStyle = MARK;
      pen.lineWidth = 2;
      pen.stroke(edge);
      pen.setLineDash([]);
      if (correcting) this.tag(out ? "left out" : "full detail", points);
    }
  }

  hatch(edge, points) {
    const { pen } = this;
    const xs = points.map(([x]) => x);
    const ys = points.map(([, y]) => y);
    const [first, last] = [Math.max(0, Math.min(...xs)), Math.min(this.width, Math.max(...xs))];
    const [high, low] = [Math.max(0, Math.min(...ys)), Math.min(this.height, Math.max(...ys))];
    pen.save();
    pen.clip(edge);
    pen.beginPath();
    for (let at = first - (low - high); at < last; at += 10) {
      pen.moveTo(at, low);
      pen.lineTo(at + low - high, high);
    }
    pen.strokeStyle = "rgba(26, 86, 176, 0.3)";
    pen.lineWidth = 1;
    pen.stroke();
    pen.restore();
  }

  /** A word at the top left of a part, where there is room for it. */
  tag(text, points) {
    const { pen } = this;
    pen.font = "600 11px system-ui, sans-serif";
    const xs = points.map(([x]) => x);
    const ys = points.map(([, y]) => y);
    const room = pen.measureText(text).width + 8;
    if (Math.max(...xs) - Math.min(...xs) < room || Math.max(...ys) - Math.min(...ys) < 18) return;
    const x = Math.max(2, Math.min(...xs) + 2);
    const y = Math.max(2, Math.min(...ys) + 2);
    pen.fillStyle = PAPER;
    pen.fillRect(x, y, room, 15);
    pen.fillStyle = MARK;
    pen.textAlign = "left";
    pen.textBaseline = "middle";
    pen.fillText(text, x + 4, y + 8);
  }

  paintDoubtful() {
    const squares = store.view?.doubtful ?? [];
    if (!squares.length) return;
    const { pen, scale, left, top } = this;
    const rings = new Path2D();
    for (const [row, col] of squares) {
      const x = left + (col + 0.5) * scale;
      const y = top + (row + 0.5) * scale;
      rings.moveTo(x + Math.max(4, scale * 0.7), y);
      rings.arc(x, y, Math.max(4, scale * 0.7), 0, 2 * Math.PI);
    }
    pen.strokeStyle = "#ffffff";
    pen.lineWidth = 4;
    pen.stroke(rings);
    pen.strokeStyle = MARK;
    pen.lineWidth = 2;
    pen.stroke(rings);
  }

  paintArea({ row, col, rows, cols }) {
    const { pen, scale, left, top } = this;
    pen.fillStyle = "rgba(26, 86, 176, 0.16)";
    pen.fillRect(left + col * scale, top + row * scale, cols * scale, rows * scale);
    pen.strokeStyle = MARK;
    pen.lineWidth = 2;
    pen.strokeRect(left + col * scale, top + row * scale, cols * scale, rows * scale);
  }

  paintFloating() {
    const { pen, scale, left, top } = this;
    const block = this.floating;
    pen.fillStyle = "rgba(26, 86, 176, 0.75)";
    for (let row = 0; row < block.rows; row += 1) {
      for (let col = 0; col < block.cols; col += 1) {
        if (block.cells[row * block.cols + col]) {
          pen.fillRect(left + (block.col + col) * scale, top + (block.row + row) * scale, scale, scale);
        }
      }
    }
    this.paintLines(block.lines.map(([a, b, c, d]) => [a + block.row, b + block.col, c + block.row, d + block.col]), true);
    this.paintArea(block);
  }

  paintCursor() {
    if (!this.cursor || document.activeElement !== this.canvas) return;
    const { pen, scale, left, top } = this;
    pen.lineWidth = 2.5;
    const shapes = new Path2D();
    const x = left + this.cursor.col * scale;
    const y = top + this.cursor.row * scale;
    if (this.cursorOnHole) shapes.arc(x, y, Math.max(4, scale * 0.35), 0, 2 * Math.PI);
    else shapes.rect(x - 1.5, y - 1.5, Math.max(scale, 4) + 3, Math.max(scale, 4) + 3);
    pen.strokeStyle = "#ffffff";
    pen.lineWidth = 5;
    pen.stroke(shapes);
    pen.strokeStyle = MARK;
    pen.lineWidth = 2.5;
    pen.stroke(shapes);
  }

  paintNumbers(grid) {
    const { pen, scale, left, top } = this;
    const style = getComputedStyle(this.canvas);
    pen.fillStyle = style.getPropertyValue("--soft") || INK;
    pen.font = "11px system-ui, sans-serif";
    const step = [10, 20, 50, 100, 200].find((each) => each * scale >= 30) ?? 500;
    const over = Math.min(Math.max(top, 16), this.height);
    const beside = Math.max(left, 20);
    pen.textAlign = "center";
    pen.textBaseline = "bottom";
    for (let col = step; col <= grid.columns; col += step) {
      const x = left + col * scale;
      const clear = Math.abs(col - grid.columns / 2) * scale > 16 || top < 16;
      if (clear && x > 30 && x < this.width - 8) this.number(String(col), x, over - 3, top < 16);
    }
    pen.textAlign = "right";
    pen.textBaseline = "middle";
    for (let row = step; row <= grid.rows; row += step) {
      const y = top + row * scale;
      const clear = Math.abs(row - grid.rows / 2) * scale > 12 || left < 20;
      if (clear && y > 22 && y < this.height - 8) this.number(String(row), beside - 4, y, left < 20);
    }
    // Centre marks, as they stand on the printed chart.
    const x = left + (grid.columns * scale) / 2;
    const y = top + (grid.rows * scale) / 2;
    pen.fillStyle = style.getPropertyValue("--focus") || MARK;
    for (const [px, py, turn] of [[x, top - 1, 0], [left - 1, y, 1]]) {
      pen.beginPath();
      pen.moveTo(px, py);
      pen.lineTo(turn ? px - 7 : px - 5, turn ? py - 5 : py - 7);
      pen.lineTo(turn ? px - 7 : px + 5, turn ? py + 5 : py - 7);
      pen.fill();
    }
  }

  number(text, x, y, onChart) {
    const { pen } = this;
    if (onChart) {
      const kept = pen.fillStyle;
      pen.strokeStyle = PAPER;
      pen.lineWidth = 3;
      pen.lineJoin = "round";
      pen.strokeText(text, x, y);
      pen.fillStyle = INK;
      pen.fillText(text, x, y);
      pen.fillStyle = kept;
      return;
    }
    pen.fillText(text, x, y);
  }
}

/** The thread's colour if it can be told from the paper, else ink. */
export function stitchColour() {
  const colour = parseColour(store.view?.thread ?? "#b01e28");
  return contrast(colour, parseColour(PAPER)) >= 3 ? colour : parseColour(INK);
}

export function parseColour(text) {
  return [1, 3, 5].map((at) => parseInt(text.slice(at, at + 2), 16) || 0);
}

/** WCAG 2.2 contrast ratio of two sRGB colours. */
export function contrast(one, other) {
  const light = (rgb) => {
    const [r, g, b] = rgb.map((v) => (v / 255 <= 0.04045 ? v / 255 / 12.92 : ((v / 255 + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const [low, high] = [light(one), light(other)].sort((a, b) => a - b);
  return (high + 0.05) / (low + 0.05);
}
