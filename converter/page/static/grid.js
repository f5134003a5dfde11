// A chart in the browser: a byte a stitch, lines as four numbers, and how they become words.

export function decodeBits(text, rows, columns) {
  const packed = atob(text);
  const cells = new Uint8Array(rows * columns);
  for (let at = 0; at < cells.length; at += 1) cells[at] = (packed.charCodeAt(at >> 3) >> (7 - (at & 7))) & 1;
  return cells;
}

export class Grid {
  constructor(view) {
    this.rows = view.rows;
    this.columns = view.columns;
    this.cells = decodeBits(view.bits, view.rows, view.columns);
    this.lines = [];
    for (let at = 0; at + 3 < view.lines.length; at += 4) this.lines.push(view.lines.slice(at, at + 4));
    this.mark = 0;
  }

  at(row, col) {
    return this.cells[row * this.columns + col];
  }

  set(row, col, on) {
    this.cells[row * this.columns + col] = on;
  }

  inside(row, col) {
    return row >= 0 && col >= 0 && row < this.rows && col < this.columns;
  }

  stitches() {
    let sum = 0;
    for (const cell of this.cells) sum += cell;
    return sum;
  }

  findLine(line) {
    const name = lineName(line);
    return this.lines.findIndex((other) => lineName(other) === name);
  }
}

export function lineName([a, b, c, d]) {
  return a < c || (a === c && b <= d) ? `${a},${b},${c},${d}` : `${c},${d},${a},${b}`;
}

/** Lines nearest to a place, in stitches; -1 if none is within reach. */
export function nearestLine(lines, row, col, reach) {
  let best = -1;
  let least = reach;
  lines.forEach(([a, b, c, d], index) => {
    const dr = c - a;
    const dc = d - b;
    const t = Math.max(0, Math.min(1, ((row - a) * dr + (col - b) * dc) / (dr * dr + dc * dc)));
    const gap = Math.hypot(row - a - t * dr, col - b - t * dc);
    if (gap < least) {
      least = gap;
      best = index;
    }
  });
  return best;
}

export function rowInWords(grid, row) {
  const runs = [];
  let start = 0;
  for (let col = 1; col <= grid.columns; col += 1) {
    if (col === grid.columns || grid.at(row, col) !== grid.at(row, start)) {
      runs.push(`${col - start} ${grid.at(row, start) ? "stitched" : "bare"}`);
      start = col;
    }
  }
  if (runs.length === 1 && !grid.at(row, 0)) return "all bare";
  return runs.join(", ");
}

export function thumb(canvas, rows, columns, cells, lines = [], colour = "#9c1c2b") {
  const scale = Math.max(1, Math.min(6, Math.floor(320 / Math.max(rows, columns))));
  canvas.width = columns * scale;
  canvas.height = rows * scale;
  const pen = canvas.getContext("2d");
  pen.fillStyle = colour;
  for (let row = 0; row < rows; row += 1) {
    let col = 0;
    while (col < columns) {
      if (!cells[row * columns + col]) {
        col += 1;
        continue;
      }
      let end = col;
      while (end < columns && cells[row * columns + end]) end += 1;
      pen.fillRect(col * scale, row * scale, (end - col) * scale, scale);
      col = end;
    }
  }
  pen.strokeStyle = colour;
  pen.lineWidth = Math.max(1, scale * 0.4);
  pen.lineCap = "round";
  pen.beginPath();
  for (let at = 0; at + 3 < lines.length; at += 4) {
    pen.moveTo(lines[at + 1] * scale, lines[at] * scale);
    pen.lineTo(lines[at + 3] * scale, lines[at + 2] * scale);
  }
  pen.stroke();
}

export function plural(count, one, many = `${one}s`) {
  return `${count.toLocaleString("en")} ${count === 1 ? one : many}`;
}
