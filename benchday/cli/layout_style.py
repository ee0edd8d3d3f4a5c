"""How the page to print looks: black on white, on paper first; what the browser can, it numbers."""

from __future__ import annotations

STYLE = """
@page {
  size: A4;
  margin: 10mm 14mm 13mm;
  @bottom-right { content: "page " counter(page) " of " counter(pages); font: 10pt sans-serif; }
}
* { box-sizing: border-box; }
body { margin: 0; background: #fff; color: #000; font: 10pt/1.18 "Liberation Sans", Arial, Helvetica, sans-serif; }
section { break-after: page; }
section:last-child { break-after: auto; }
h1 { font-size: 18pt; margin: 0; }
h2 { font-size: 13pt; margin: 3mm 0 1mm; break-after: avoid; }
p { margin: 0 0 0.5mm; }
.simulated { float: right; border: 1mm solid #000; padding: 0 3mm; font-size: 20pt; font-weight: bold; }
.day { clear: right; margin-bottom: 1mm; }
.small { font-size: 10pt; margin-top: 3mm; }
ul { margin: 0; padding-left: 5mm; }
table { width: 100%; border-collapse: collapse; margin: 2mm 0; }
caption { text-align: left; font-size: 13pt; font-weight: bold; padding-bottom: 1mm; }
th, td { border: 0.3mm solid #000; padding: 0.5mm 1.5mm; text-align: left; vertical-align: top; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
.digest { display: block; font: 10pt "Liberation Mono", monospace; letter-spacing: -0.06em; overflow-wrap: anywhere; }
.things th, .things td:nth-last-child(1) { white-space: nowrap; }
.images th:first-child { width: 74%; }
.crews th:first-child { width: 19%; }
.crews td:nth-child(3) { width: 40%; }
article { border: 0.4mm solid #000; padding: 2mm 3mm; margin-bottom: 3mm; break-inside: avoid; overflow: hidden; }
article h2 { margin-top: 0; }
.serial { font-family: "Liberation Mono", monospace; font-size: 17pt; }
.code { float: right; width: 25mm; height: 25mm; margin: 0 0 1mm 3mm; }
.tick { display: inline-block; margin-right: 3mm; white-space: nowrap; }
.box { display: inline-block; width: 3.6mm; height: 3.6mm; border: 0.4mm solid #000; vertical-align: -0.5mm; }
.writing, .signing { display: flex; flex-wrap: wrap; gap: 0 5mm; clear: both; }
.fill { display: flex; flex: 1 1 35mm; align-items: flex-end; min-height: 8mm; white-space: nowrap; }
.writing .fill:last-child { flex: 3 1 80mm; }
.signing .fill { flex: 1 1 75mm; min-height: 10mm; }
.line { flex: 1; min-width: 12mm; margin-left: 2mm; border-bottom: 0.3mm solid #000; }
.consents td { white-space: nowrap; }
.consents td .fill { flex-direction: row-reverse; min-height: 5mm; }
.consents .line { margin: 0 2mm 0 0; }
.consents, .caution, .signing { break-inside: avoid; }
@media screen {
  body { background: #ddd; }
  section { width: 210mm; max-width: 100%; margin: 6mm auto; padding: 12mm 14mm; background: #fff; }
}
"""

SIMULATED_STYLE = '@page { @bottom-left { content: "SIMULATED"; font: bold 16pt sans-serif; } }\n'
"""By this every further page of a long sheet says so too."""
