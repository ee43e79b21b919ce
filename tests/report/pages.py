"""Looking at a page as a browser, a screen reader and a printer do."""

import os
import re
import shutil
import subprocess
from collections import Counter

import html5lib

HTML = "{http://www.w3.org/1999/xhtml}"
BROWSER = os.environ.get("PRESERVECHECK_CHROMIUM") or next(
    filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None
)


def parsed(page):
    """The page as a tree; a fault of its HTML is an error."""
    return html5lib.HTMLParser(strict=True).parse(page)


def all_of(tree, name):
    """All elements of a name, in the order of the page."""
    return list(tree.iter(HTML + name))


def text_of(element):
    """The words inside an element."""
    return " ".join("".join(element.itertext()).split())


def check_page(page):
    """Fail unless a page is valid, self-contained, and laid out for screen readers."""
    tree = parsed(page)
    assert tree.get("lang") == "en"
    assert text_of(all_of(tree, "title")[0])
    assert [m.get("content") for m in all_of(tree, "meta") if m.get("name") == "viewport"] == [
        "width=device-width, initial-scale=1"
    ]
    ids = [e.get("id") for e in tree.iter() if e.get("id")]
    assert [i for i, n in Counter(ids).items() if n > 1] == []
    for element in tree.iter():
        for name, value in element.attrib.items():
            if name in (
                "src",
                "href",
                "srcset",
                "action",
                "data",
                "{http://www.w3.org/1999/xlink}href",
            ):
                assert value.startswith("#"), value
                assert value[1:] in ids, value
            assert not name.startswith("on"), name
            if name in ("aria-labelledby", "aria-describedby"):
                assert set(value.split()) <= set(ids)
    assert not all_of(tree, "script")
    assert "url(http" not in page
    assert "@import" not in page
    levels = [
        int(e.tag[-1])
        for e in tree.iter()
        if isinstance(e.tag, str) and re.fullmatch(HTML + "h[1-6]", e.tag)
    ]
    assert levels[0] == 1
    assert all(b <= a + 1 for a, b in zip(levels, levels[1:], strict=False)), levels
    for table in all_of(tree, "table"):
        heads = all_of(table, "th")
        assert heads
        assert all(h.get("scope") in ("col", "row") for h in heads)
        assert all(text_of(h) for h in heads)
    for box in (e for e in all_of(tree, "div") if e.get("class") == "scroll"):
        assert box.get("tabindex") == "0"
        assert box.get("aria-label")
    for svg in tree.iter("{http://www.w3.org/2000/svg}svg"):
        assert svg.get("role") == "img"
        assert svg.get("aria-labelledby")
    return tree


def printed_pages(page, folder):
    """How many sheets of paper a page takes."""
    file = folder / "page.html"
    file.write_text(page, encoding="utf-8")
    out = folder / "page.pdf"
    subprocess.run(
        [BROWSER, "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={folder / 'profile'}",
         "--no-pdf-header-footer", f"--print-to-pdf={out}", file.as_uri()],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    data = out.read_bytes()
    box = re.search(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", data)
    return len(re.findall(rb"/Type\s*/Page\b", data)), (round(float(box[1])), round(float(box[2])))
