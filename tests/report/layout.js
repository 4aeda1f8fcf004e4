// What is wrong with the layout of a page: what leaves the window, is cut off, or covers something else.
(() => {
  const width = document.documentElement.clientWidth;
  const outside = [], clipped = [], beyond = [], overlapping = [], covered = [];
  for (const e of document.querySelectorAll('body *')) {
    if (e.closest('svg')) continue;
    const r = e.getBoundingClientRect();
    const name = e.tagName + '.' + e.className;
    if (r.width && (r.left < -0.5 || r.right > width + 0.5)) outside.push(name + ' ' + r.left + ' to ' + r.right);
    if (e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).display !== 'inline') clipped.push(name);
  }
  const shared = (a, b) => {
    const w = Math.min(a.right, b.right) - Math.max(a.left, b.left);
    const h = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
    return w > 0 && h > 0 ? [w, h] : [0, 0];
  };
  const figures = [...document.querySelectorAll('svg.figure')];
  let texts = 0;
  for (const svg of figures) {
    const box = svg.getBoundingClientRect();
    const label = svg.getAttribute('aria-label').slice(0, 24) + ': ';
    const found = [...svg.querySelectorAll('text')].filter(t => t.textContent.trim())
      .map(t => ({words: t.textContent, r: t.getBoundingClientRect()}));
    texts += found.length;
    found.forEach((a, i) => {
      if (a.r.left < box.left - 1 || a.r.right > box.right + 1 || a.r.top < box.top - 1 || a.r.bottom > box.bottom + 1)
        beyond.push(label + a.words);
      for (const b of found.slice(0, i)) {
        const [w, h] = shared(a.r, b.r);
        if (w * h > 0.25 * Math.min(a.r.width * a.r.height, b.r.width * b.r.height))
          overlapping.push(label + a.words + ' / ' + b.words);
      }
    });
  }
  const blocks = [...document.querySelectorAll('h1, h2, h3, p, li, td, th, svg.figure, figcaption, pre')]
    .filter(e => e.getClientRects().length).map(e => ({e, r: e.getBoundingClientRect()}));
  blocks.forEach((a, i) => {
    for (const b of blocks.slice(i + 1)) {
      const [w, h] = shared(a.r, b.r);
      if (w > 1 && h > 1 && !a.e.contains(b.e) && !b.e.contains(a.e))
        covered.push(a.e.textContent.slice(0, 30) + ' / ' + b.e.textContent.slice(0, 30));
    }
  });
  return {width, figures: figures.length, texts, outside, clipped, beyond, overlapping, covered};
})()
