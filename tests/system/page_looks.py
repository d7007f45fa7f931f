"""What an eye would find wrong with a page's layout: cut, covered, too small, beside the page, alike by shortening.

assert await looks(page, least_px=48) == []
"""

from __future__ import annotations

from collections import Counter

from tests.system.chromium_session import Session

SCRIPT = """((least) => {
  const wrong = [];
  const controls = 'button, input, select, textarea, a[href], summary, [role=button], [role=switch], [role=tab], '
    + '[role=slider], [role=checkbox], [role=radio], [role=option]';
  const shown = (e) => e.checkVisibility({ opacityProperty: true, visibilityProperty: true }) && !e.closest('[inert]');
  const word = (e) => {
    const name = e.getAttribute('aria-label') ?? (e.innerText || e.value || '').trim();
    return `${e.tagName.toLowerCase()}${e.id ? '#' + e.id : ''} "${name.replace(/\\s+/g, ' ').slice(0, 40)}"`;
  };
  const box = (e) => e.getBoundingClientRect();
  const unseen = (e) => box(e).width <= 1 || box(e).height <= 1; // for screen readers alone
  // What lies in a part that scrolls, or is cut by it, is seen by scrolling: only what is in view counts as covered.
  const scroller = (e) => {
    for (let at = e.parentElement; at; at = at.parentElement) {
      const { overflowX, overflowY } = getComputedStyle(at);
      if (/auto|scroll/.test(overflowX + overflowY)) return at;
    }
    return null;
  };
  const inView = (e) => {
    const frame = scroller(e) ? box(scroller(e)) : { left: 0, top: 0, right: innerWidth, bottom: innerHeight };
    const b = box(e), x = (b.left + b.right) / 2, y = (b.top + b.bottom) / 2;
    return x > frame.left && x < frame.right && y > frame.top && y < frame.bottom;
  };
  const seen = (b, e) => { // without what is scrolled out of view
    const frame = scroller(e) ? box(scroller(e)) : { left: 0, top: 0, right: innerWidth, bottom: innerHeight };
    const { max, min } = Math;
    return { left: max(b.left, frame.left), right: min(b.right, frame.right), top: max(b.top, frame.top),
      bottom: min(b.bottom, frame.bottom) };
  };
  const all = [...document.querySelectorAll(controls)].filter((e) => shown(e) && !unseen(e));
  for (const e of all) {
    const b = box(e);
    // a box to tick is pressed on its words too
    const pressed = /checkbox|radio/.test(e.type) ? [e, ...(e.labels ?? [])].map(box) : [b];
    const [width, height] = ['width', 'height'].map((side) => Math.max(...pressed.map((one) => one[side])));
    if (width < least - 0.5 || height < least - 0.5)
      wrong.push(`small: ${word(e)} is ${Math.round(width)} x ${Math.round(height)}, expected ${least}`);
    if (!scroller(e) && (b.left < -1 || b.right > innerWidth + 1 || b.top < -1 || b.bottom > innerHeight + 1))
      wrong.push(`beside the page: ${word(e)}`);
    if (inView(e)) {
      const top = document.elementFromPoint((b.left + b.right) / 2, (b.top + b.bottom) / 2);
      const own = top && (e.contains(top) || [...(e.labels ?? [])].some((l) => l.contains(top)));
      if (!own) wrong.push(`covered: ${word(e)} by ${top ? word(top) : 'nothing'}`);
    }
  }
  for (const [i, a] of all.entries()) for (const b of all.slice(i + 1)) {
    if (a.contains(b) || b.contains(a) || !inView(a) || !inView(b)) continue;
    const p = box(a), q = box(b);
    const w = Math.min(p.right, q.right) - Math.max(p.left, q.left);
    const h = Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top);
    if (w > 1 && h > 1) wrong.push(`overlap: ${word(a)} and ${word(b)} by ${Math.round(w)} x ${Math.round(h)}`);
  }
  const cuts = (e) => getComputedStyle(e).overflowX !== 'visible' && !/auto|scroll/.test(getComputedStyle(e).overflowX);
  for (const e of document.querySelectorAll('body *')) {
    const written = [...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim());
    if (!written || !shown(e) || unseen(e) || e.closest('script, style, noscript, svg')) continue;
    const host = cuts(e) ? e : e.parentElement && cuts(e.parentElement) ? e.parentElement : null;
    if (e.matches('textarea, input, select, option')) continue;
    if (host && !unseen(host) && host.scrollWidth > host.clientWidth + 1)
      wrong.push(`cut: ${word(e)} needs ${host.scrollWidth} px, has ${host.clientWidth}`);
    const b = box(e);
    if (!scroller(e) && !host && (b.right > innerWidth + 1 || b.left < -1)) wrong.push(`beside the page: ${word(e)}`);
  }
  // Words by their own boxes: out of the control that they stand in, or over other words.
  const words = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const e = node.parentElement;
    if (!node.data.trim() || !shown(e) || unseen(e) || e.closest('script, style, noscript, select, textarea')) continue;
    if (e.closest('details:not([open]) > :not(summary)') || !inView(e)) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    const b = range.getBoundingClientRect(), host = e.closest(controls);
    if (b.width <= 1 || b.height <= 1) continue;
    if (host && !cuts(e)) {
      const h = box(host);
      if (b.left < h.left - 1 || b.right > h.right + 1 || b.top < h.top - 1 || b.bottom > h.bottom + 1)
        wrong.push(`spills: the words of ${word(host)}`);
    }
    if (!cuts(e)) words.push([seen(b, e), node.data.trim().slice(0, 30)]);
  }
  for (const [i, [p, first]] of words.entries()) for (const [q, second] of words.slice(i + 1)) {
    const w = Math.min(p.right, q.right) - Math.max(p.left, q.left);
    const h = Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top);
    if (w > 2 && h > 4) wrong.push(`words over words: "${first}" and "${second}"`);
  }
  const root = document.scrollingElement;
  if (root.scrollWidth > innerWidth + 1) wrong.push(`the page is ${root.scrollWidth} px wide in ${innerWidth}`);
  return [...new Set(wrong)];
})"""


async def looks(page: Session, least_px: float = 48.0) -> list[str]:
    """One line for each thing that is wrong; empty where all is right. `least_px`: sides of what is pressed."""
    return list(await page.evaluate(f"{SCRIPT}({least_px})"))


async def alike(page: Session, names: list[str], start: str = "") -> list[str]:
    """Texts that a page or its canvases show in place of two or more of these names, all beginning with `start`.

    A shortened name is one that ends or begins with an ellipsis, or holds one; a name shown whole is its own.
    """
    texts = await page.evaluate("[...standInNetwork.texts(), ...document.body.innerText.split(/\\n/)]")
    shortened = Counter()
    for text in {str(text).strip() for text in texts}:
        if "…" not in text or text == "…" or not text.startswith(start):
            continue
        head, _, tail = text.partition("…")
        shortened[text] = sum(name.startswith(head) and name.endswith(tail) for name in names)
    return sorted(text for text, count in shortened.items() if count > 1)
