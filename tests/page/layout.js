// What is wrong with the layout of the page as it stands: returned as lists of the controls' words.
const shown = (node) => node.checkVisibility() && getComputedStyle(node).visibility !== "hidden";
const words = ({ node }) => node.textContent.trim() || node.id || node.outerHTML.slice(0, 80);
const controls = "button, .button, input:not([type=radio]):not([type=file]), select, .choices span, .views span, summary";
const boxes = [...document.querySelectorAll(controls)]
  .filter((node) => shown(node) && !node.closest(".sr"))
  .map((node) => ({ node, box: node.getBoundingClientRect(), fixed: Boolean(node.closest(".look, .top")) }))
  .filter(({ box }) => box.width > 1);
const overlaps = [];
for (let a = 0; a < boxes.length; a += 1) {
  for (let b = a + 1; b < boxes.length; b += 1) {
    const one = boxes[a];
    const other = boxes[b];
    if (one.node.contains(other.node) || other.node.contains(one.node)) continue;
    // What stays in place while the steps scroll under it may cover them.
    if (one.fixed !== other.fixed) continue;
    const wide = Math.min(one.box.right, other.box.right) - Math.max(one.box.left, other.box.left);
    const high = Math.min(one.box.bottom, other.box.bottom) - Math.max(one.box.top, other.box.top);
    if (wide > 2 && high > 2) overlaps.push([words(one), words(other)]);
  }
}
const root = document.documentElement;
const cut = [...document.querySelectorAll("button, .choices span, .views span, dd, .step-name, label")]
  .filter((node) => shown(node) && !node.closest(".sr") && node.scrollWidth > node.clientWidth + 1 && getComputedStyle(node).display !== "inline")
  .map((node) => words({ node }));
return {
  sideways: root.scrollWidth - root.clientWidth,
  overlaps,
  outside: boxes.filter(({ box }) => box.right > innerWidth + 1 || box.left < -1).map(words),
  // WCAG 2.2, 2.5.8: targets of at least 24 by 24 CSS pixels.
  small: boxes.filter(({ node, box }) => node.type !== "checkbox" && (box.height < 24 || box.width < 24)).map(words),
  cut,
};
