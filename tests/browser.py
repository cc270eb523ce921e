"""A real browser for tests: Debian's chromium, driven from Python, reaching nothing but files.

A machine without chromium or without playwright skips what needs one and says so; with CI set in
the environment it fails in place of skipping, since `.ci/run` brings both.
"""

import os
import shutil
from contextlib import contextmanager

import pytest

# No look-ups of its own: the tests hold that nothing at all is asked for.
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update",
]  # fmt: skip


@contextmanager
def chromium():
    """A running browser."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        _without("playwright is not installed (it is in the test extra)")
    program = os.environ.get("CHROMIUM") or shutil.which("chromium")
    if not program:
        _without("no chromium on this machine; on Debian: apt-get install chromium")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=program, args=ARGUMENTS)
        yield browser
        browser.close()


def _without(what: str) -> None:
    """No browser: a skip on a keeper's machine, a failure where the browser was to be brought."""
    (pytest.fail if os.environ.get("CI") else pytest.skip)(f"No browser test: {what}.")


@contextmanager
def opened(browser, path, *, width=1280, scheme="light"):
    """A page opened from its file; every request it makes is noted in `page.asked`."""
    context = browser.new_context(
        viewport={"width": width, "height": 900}, color_scheme=scheme, offline=True
    )
    page = context.new_page()
    page.asked = []
    page.on("request", lambda request: page.asked.append(request.url))
    page.faults = []
    page.on("pageerror", lambda fault: page.faults.append(str(fault)))
    page.goto(path.resolve().as_uri())
    yield page
    context.close()


def open_all(page) -> None:
    """Every disclosure opened."""
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")


# What reaches beyond the window's right edge, or left of it; a wide table scrolls in a box of its own.
BEYOND = """() => [...document.querySelectorAll('body *')].filter(e => {
  if (e.closest('.skip') || e.closest('thead')) return false;
  const box = e.closest('.scroll');
  if (box && box !== e) return false;
  const r = e.getBoundingClientRect();
  return r.width && r.height && (r.right > innerWidth + 1 || r.left < -1);
}).map(e => e.tagName + ' ' + (e.textContent || '').slice(0, 40))"""

# Pieces of text that lie on one another: blocks of the page, and words of one picture.
OVERLAPS = """() => {
  const shown = e => { const r = e.getBoundingClientRect();
    return e.checkVisibility() && r.width > 0 && r.height > 0; };  // folded away has a size too
  const groups = [[...document.querySelectorAll(
    'h1,h2,h3,p,li:not(:has(h3)),figcaption,caption,td,th,dt,summary,.drawing')]
    .filter(e => !e.closest('.stack thead') && !e.closest('summary h3'))];
  document.querySelectorAll('svg').forEach(s => groups.push([...s.querySelectorAll('text')]));
  const found = [];
  for (const group of groups) {
    const boxes = group.filter(shown).map(e => [e, e.getBoundingClientRect()]);
    boxes.sort((a, b) => a[1].top - b[1].top);
    for (let i = 0; i < boxes.length; i++) for (let j = i + 1; j < boxes.length; j++) {
      const [a, r] = boxes[i], [b, s] = boxes[j];
      if (s.top >= r.bottom - 1) break;
      if (a.contains(b) || b.contains(a)) continue;
      const wide = Math.min(r.right, s.right) - Math.max(r.left, s.left);
      const high = Math.min(r.bottom, s.bottom) - Math.max(r.top, s.top);
      if (wide > 2 && high > 3) found.push(
        a.textContent.trim().slice(0, 40) + ' | ' + b.textContent.trim().slice(0, 40));
    }
  }
  return found;
}"""

# Signs that do not stand at the left of their figure, and how many signs were looked at. The place of a
# letter is the browser's own.
ASTRAY = """() => {
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const at = (node, k) => { const r = document.createRange();
    r.setStart(node, k); r.setEnd(node, k + 1); return r.getClientRects()[0]; };
  let count = 0; const astray = [];
  for (let n; n = walk.nextNode();) {
    if (['STYLE', 'SCRIPT', 'TITLE'].includes(n.parentElement.tagName)) continue;
    for (const found of n.textContent.matchAll(/[−+](?=\\d)/g)) {
      const [sign, digit] = [at(n, found.index), at(n, found.index + 1)];
      if (!sign || !digit || !sign.width) continue;
      count += 1;
      if (sign.left >= digit.left) astray.push(n.textContent.trim().slice(0, 60));
    }
  }
  return [count, astray];
}"""

# Each text with its own colour and the first painted ground beneath it; W3C's WCAG 2.1, 1.4.3
# (definition of relative luminance and contrast ratio; from memory).
CONTRASTS = """() => {
  const rgb = c => (c.match(/[\\d.]+/g) || []).map(Number);
  const light = c => { const [r, g, b] = c.map(v => { v /= 255;
    return v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; });
    return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
  const ground = e => { for (; e; e = e.parentElement) {
    const c = rgb(getComputedStyle(e).backgroundColor);
    if (c.length === 3 || c[3] === 1) return c.slice(0, 3); } return [255, 255, 255]; };
  const found = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let n; n = walk.nextNode();) {
    const e = n.parentElement, r = e.getBoundingClientRect();
    if (!n.textContent.trim() || !r.width || ['STYLE', 'TITLE'].includes(e.tagName)) continue;
    const s = getComputedStyle(e), colour = e.closest('svg') ? s.fill : s.color;
    const [a, b] = [light(rgb(colour).slice(0, 3)), light(ground(e))].sort((x, y) => y - x);
    found.push([(a + 0.05) / (b + 0.05), n.textContent.trim().slice(0, 40)]);
  }
  return found;
}"""
