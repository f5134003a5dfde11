// How the piece will look: woven cloth with its holes, crosses of thread on it.

import { store } from "./store.js";
import { parseColour } from "./chart_view.js";

export class ClothView {
  constructor(canvas) {
    this.canvas = canvas;
    this.pen = canvas.getContext("2d");
    this.tiles = new Map();
    new ResizeObserver(() => this.resize()).observe(canvas);
  }

  resize() {
    const box = this.canvas.getBoundingClientRect();
    if (!box.width || !box.height) return;
    const ratio = window.devicePixelRatio || 1;
    this.width = Math.round(box.width * ratio);
    this.height = Math.round(box.height * ratio);
    this.canvas.width = this.width;
    this.canvas.height = this.height;
    this.draw();
  }

  draw() {
    if (this.due) return;
    this.due = true;
    requestAnimationFrame(() => {
      this.due = false;
      this.paint();
    });
  }

  paint() {
    const grid = store.grid;
    if (!grid || !this.width || this.canvas.offsetParent === null) return;
    const { pen } = this;
    const margin = Math.max(3, Math.round(Math.max(grid.rows, grid.columns) * 0.05));
    const fit = Math.min(this.width / (grid.columns + 2 * margin), this.height / (grid.rows + 2 * margin));
    const step = Math.max(1, fit >= 3 ? Math.floor(fit) : fit);
    const cloth = parseColour(store.view.ground ?? "#ffffff");
    const thread = parseColour(store.view.thread ?? "#b01e28");
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.clearRect(0, 0, this.width, this.height);
    const wide = (grid.columns + 2 * margin) * step;
    const high = (grid.rows + 2 * margin) * step;
    const left = Math.round((this.width - wide) / 2);
    const top = Math.round((this.height - high) / 2);
    pen.save();
    pen.translate(left, top);
    if (step < 3) this.paintSmall(grid, margin, step, cloth, thread);
    else this.paintWoven(grid, margin, step, cloth, thread);
    this.paintLines(grid, margin, step, thread);
    pen.restore();
  }

  paintWoven(grid, margin, step, cloth, thread) {
    const { pen } = this;
    const bare = this.tile("bare", step, cloth, thread);
    const crossed = [0, 1, 2].map((kind) => this.tile(`cross${kind}`, step, cloth, thread));
    pen.fillStyle = pen.createPattern(bare, "repeat");
    pen.fillRect(0, 0, (grid.columns + 2 * margin) * step, (grid.rows + 2 * margin) * step);
    const over = Math.ceil(step * 0.2);
    for (let row = 0; row < grid.rows; row += 1) {
      for (let col = 0; col < grid.columns; col += 1) {
        if (!grid.at(row, col)) continue;
        const tile = crossed[(row * 7 + col * 13 + ((row * col) % 5)) % 3];
        pen.drawImage(tile, (margin + col) * step - over, (margin + row) * step - over);
      }
    }
  }

  paintSmall(grid, margin, step, cloth, thread) {
    const { pen } = this;
    const small = document.createElement("canvas");
    small.width = grid.columns + 2 * margin;
    small.height = grid.rows + 2 * margin;
    const inner = small.getContext("2d");
    const image = inner.createImageData(small.width, small.height);
    const mixed = thread.map((value, at) => Math.round(value * 0.88 + cloth[at] * 0.12));
    for (let at = 0; at < small.width * small.height; at += 1) {
      const row = Math.floor(at / small.width) - margin;
      const col = (at % small.width) - margin;
      const on = grid.inside(row, col) && grid.at(row, col);
      const shade = 1 - 0.05 * ((row + col) & 1);
      const colour = on ? mixed : cloth;
      for (let part = 0; part < 3; part += 1) image.data[at * 4 + part] = colour[part] * shade;
      image.data[at * 4 + 3] = 255;
    }
    inner.putImageData(image, 0, 0);
    pen.imageSmoothingEnabled = step * 1 !== Math.round(step);
    pen.drawImage(small, 0, 0, small.width * step, small.height * step);
  }

  paintLines(grid, margin, step, thread) {
    const { pen } = this;
    if (!grid.lines.length) return;
    const at = (value) => (margin + value) * step;
    for (const [width, colour] of [[0.26, shade(thread, 0.62)], [0.16, shade(thread, 1.06)]]) {
      pen.beginPath();
      pen.lineCap = "round";
      pen.lineWidth = Math.max(1, step * width);
      pen.strokeStyle = colour;
      for (const [a, b, c, d] of grid.lines) {
        const short = 0.08;
        pen.moveTo(at(b + (d - b) * short), at(a + (c - a) * short));
        pen.lineTo(at(d - (d - b) * short), at(c - (c - a) * short));
      }
      pen.stroke();
    }
  }

  /** One square of cloth, or one cross that stands a little over its square. */
  tile(kind, step, cloth, thread) {
    const key = [kind, step, cloth, thread].join("|");
    if (this.tiles.has(key)) return this.tiles.get(key);
    if (this.tiles.size > 40) this.tiles.clear();
    const canvas = document.createElement("canvas");
    const pen = canvas.getContext("2d");
    if (kind === "bare") {
      canvas.width = step;
      canvas.height = step;
      pen.fillStyle = shade(cloth, 1);
      pen.fillRect(0, 0, step, step);
      const threads = step >= 12 ? 4 : step >= 7 ? 3 : 2;
      const wide = step / threads;
      for (let row = 0; row < threads; row += 1) {
        for (let col = 0; col < threads; col += 1) {
          const up = (row + col) % 2 === 0;
          pen.fillStyle = up ? shade(cloth, 0.985) : shade(cloth, 0.945);
          pen.fillRect(col * wide, row * wide, wide, wide);
          pen.fillStyle = shade(cloth, up ? 1.02 : 0.97);
          if (up) pen.fillRect(col * wide, row * wide + wide * 0.2, wide, wide * 0.35);
          else pen.fillRect(col * wide + wide * 0.2, row * wide, wide * 0.35, wide);
        }
      }
      pen.fillStyle = shade(cloth, 0.7);
      const hole = Math.max(0.6, step * 0.085);
      for (const [x, y] of [[0, 0], [step, 0], [0, step], [step, step]]) {
        pen.beginPath();
        pen.arc(x, y, hole, 0, 2 * Math.PI);
        pen.fill();
      }
    } else {
      const over = Math.ceil(step * 0.2);
      canvas.width = step + 2 * over;
      canvas.height = step + 2 * over;
      pen.translate(over, over);
      const wobble = [0, 0.02, -0.02][Number(kind.at(-1))] * step;
      this.leg(pen, step, thread, [0, step, step, 0], wobble, 0.86);
      this.leg(pen, step, thread, [0, 0, step, step], -wobble, 1);
    }
    this.tiles.set(key, canvas);
    return canvas;
  }

  leg(pen, step, thread, [y0, x0, y1, x1], wobble, light) {
    const strands = store.view?.strands ?? 2;
    const width = step * Math.min(0.56, 0.27 + 0.1 * strands);
    pen.lineCap = "round";
    const stroke = (wide, colour, shift = 0) => {
      pen.lineWidth = wide;
      pen.strokeStyle = colour;
      pen.beginPath();
      pen.moveTo(x0 + shift, y0 + wobble * 0.5);
      pen.quadraticCurveTo(step / 2 + wobble + shift, step / 2 - wobble, x1 + shift, y1 + wobble * 0.5);
      pen.stroke();
    };
    stroke(width, shade(thread, 0.68 * light));
    stroke(width * 0.8, shade(thread, 0.94 * light));
    if (step >= 6) {
      stroke(Math.max(0.6, width * 0.16), shade(thread, 0.78 * light), width * 0.02);
      stroke(Math.max(0.6, width * 0.22), shade(thread, 1.22 * light), -width * 0.2);
    }
  }
}

function shade(rgb, factor) {
  return `rgb(${rgb.map((value) => {
    const changed = factor <= 1 ? value * factor : value + (255 - value) * (factor - 1);
    return Math.round(Math.max(0, Math.min(255, changed)));
  }).join()})`;
}
