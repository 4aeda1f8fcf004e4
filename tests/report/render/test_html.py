"""Exact HTML of a small document."""

from winchsim.report.render.html import render_html
from winchsim.report.render.options import Options

EXPECTED = """\
<main>
<div class="answer">
<div class="first">
<div class="headline warn">
<p class="status">thin 1 of 3</p>
<p class="sentence">Lifts 14 kg by 0.6 m &lt;b&gt;*now*&lt;/b&gt;.</p>
<p class="remark">crate.toml · not rated</p>
</div>
<table>
<thead>
<tr>
<th scope="col">quantity</th>
<th scope="col">value</th>
<th scope="col">range</th>
<th scope="col">limit</th>
<th scope="col">status</th>
</tr>
</thead>
<tbody>
<tr>
<th scope="row" data-head="quantity">
<bdi>lift time</bdi>
</th>
<td class="value" data-head="value">
<bdi>28 s</bdi>
</td>
<td class="value" data-head="range">
<bdi>26 to 33</bdi>
</td>
<td data-head="limit">
</td>
<td data-head="status">
<span class="mark good">ok</span>
</td>
</tr>
<tr>
<th scope="row" data-head="quantity">
<bdi>holding margin</bdi>
</th>
<td class="value" data-head="value">
<bdi>1.15 ×</bdi>
</td>
<td class="value" data-head="range">
<bdi>0.95 to 1.40</bdi>
</td>
<td class="value" data-head="limit">
<bdi>1</bdi>
</td>
<td data-head="status">
<span class="mark warn">thin</span>
</td>
</tr>
<tr>
<th scope="row" data-head="quantity">
<bdi>speed | odd</bdi>
</th>
<td class="value" data-head="value">
<bdi>21.3 mm/s</bdi>
</td>
<td class="value" data-head="range">
</td>
<td data-head="limit">
</td>
<td data-head="status">
<span class="mark good">ok</span>
</td>
</tr>
</tbody>
</table>
<p>
<strong>If it jams:</strong> the shaft breaks first.</p>
<ol>
<li>Fit a brake.</li>
<li>Less load.</li>
</ol>
<p class="remark">Keep clear.</p>
</div>
<figure id="figure-build">
<svg/>
<figcaption>
<strong>The build.</strong> Gears to scale.</figcaption>
</figure>
</div>
<nav aria-label="Contents">
<ul>
<li>
<a href="#findings">Findings</a>
</li>
<li>
<a href="#notes">Notes</a>
</li>
<li>
<a href="#file">File</a>
</li>
</ul>
</nav>
<section id="findings">
<h2>Findings</h2>
<div>
<p class="finding warn">
<span class="mark warn">thin</span> The rope bends tightly.<span class="action">Action: A thicker drum.</span>
</p>
</div>
</section>
<section id="notes">
<details>
<summary>
<h2>Notes</h2>
</summary>
<div>
<ul>
<li>A long note that has to be wrapped before the number 1230 N at its end.</li>
</ul>
</div>
</details>
</section>
<section id="file">
<details>
<summary>
<h2>File</h2>
</summary>
<div>
<pre dir="auto">a = &#x27;&lt;1&gt;&#x27;<br>``` b</pre>
</div>
</details>
</section>
</main>
"""


def test_html(document):
    page = render_html(document, Options(figures={"build": "<svg/>"}))
    main = page[page.index("<main>") : page.index("</main>") + 7]
    assert main.replace("><", ">\n<") == EXPECTED.rstrip()


def test_the_page_needs_nothing_else(document):
    page = render_html(document, Options())
    assert "default-src 'none'" in page and "<script" not in page and "http://" not in page
    assert "<title>Crate &amp; Co</title>" in page and "https://" not in page
