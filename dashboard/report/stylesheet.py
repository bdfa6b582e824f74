"""How the report looks, on a screen and on paper: ink on white, so that it copies well."""

from __future__ import annotations

from evenfoot.dashboard.charts.theme import FONT
from evenfoot.dashboard.report.picture import FAINT, INK, MUTED, RULE

ACCENT = "#7A3E1D"

_STYLE = f"""
*{{box-sizing:border-box}}
html{{font-family:{FONT};font-size:9pt;line-height:1.3;color:{INK};background:#fff;
-webkit-print-color-adjust:exact;print-color-adjust:exact;hyphens:manual}}
body{{margin:0}}
main{{max-width:186mm;margin:0 auto;padding:8mm 4mm}}
header{{border-bottom:2pt solid {ACCENT};padding-bottom:2.5mm;margin-bottom:3mm}}
header p{{margin:0}}
.from{{display:flex;gap:4mm;align-items:center;justify-content:flex-end;text-align:right;font-size:8.6pt;
color:{MUTED};margin-bottom:2mm}}
.from img{{max-height:16mm;max-width:50mm;order:2}}
h1{{font-size:17pt;line-height:1.15;margin:0 0 .5mm;overflow-wrap:anywhere}}
h2{{font-size:11pt;margin:3mm 0 .9mm;color:{ACCENT};break-after:avoid}}
p{{margin:0 0 1.5mm;orphans:3;widows:3}}
p,li,figcaption,caption{{overflow-wrap:anywhere}}
ul{{margin:0 0 2mm;padding-left:4.5mm}}
li{{margin-bottom:.7mm;break-inside:avoid}}
.summary li{{margin-bottom:1.2mm}}
.small,figcaption{{font-size:8.2pt;color:{MUTED}}}
.print{{font-size:6.4pt;line-height:1.16;color:{MUTED};columns:2;column-gap:6mm;padding-left:3.5mm}}
.print li{{break-inside:auto}}
figure{{margin:0 0 2mm;break-inside:avoid}}
figcaption{{margin-top:.5mm}}
svg{{display:block;max-width:100%;height:auto;font-family:{FONT}}}
svg.dots{{width:43mm;min-width:24mm}}
svg.key{{height:3.9mm;width:auto}}
svg.months{{width:100%}}
svg.feet{{width:100%}}
table{{border-collapse:collapse;width:100%;margin:0 0 2mm;font-size:8pt;font-variant-numeric:tabular-nums}}
thead{{display:table-header-group}}
tr{{break-inside:avoid}}
th,td{{text-align:left;vertical-align:middle;padding:.35mm 1.6mm .35mm 0;border-bottom:.4pt solid {RULE};
overflow-wrap:break-word}}
thead th{{font-weight:600;color:{MUTED};font-size:8.2pt;vertical-align:bottom;border-bottom:.8pt solid {MUTED}}}
tbody th{{font-weight:400}}
.first tbody tr:first-child>*{{background:{FAINT}}}
td:has(svg),th:has(svg){{padding:0;width:43mm}}
.figures td{{white-space:nowrap}}
.published td:last-child{{white-space:normal}}
.cows td{{overflow-wrap:anywhere}}
.months th,.months td{{text-align:right;padding-right:1mm}}
.months th:first-child{{text-align:left}}
.cows td,.cows th{{vertical-align:top}}
.cows th:first-child{{width:32mm;font-weight:600}}
.cows td:nth-child(2){{width:46mm}}
.beside{{display:grid;grid-template-columns:minmax(0,1.22fr) minmax(0,1fr);gap:6mm}}
.beside svg.dots{{width:28mm}}
.beside td:has(svg),.beside th:has(svg){{width:28mm}}
.lead{{break-after:avoid;break-inside:avoid}}
.whole{{break-inside:avoid}}
.figures tbody th{{min-width:33mm}}
.beside,.halves{{break-inside:avoid}}
.halves tbody th{{min-width:0}}
.halves{{display:grid;grid-template-columns:minmax(0,1.25fr) minmax(0,1fr);gap:6mm}}
@media screen and (max-width:640px){{.beside,.halves{{display:block}} main{{padding:4mm}} table{{font-size:8pt}}
main{{overflow-x:auto}}}}
@media print{{main{{max-width:none;padding:0}} h2+*,header+section h2{{break-before:avoid}}}}
"""


def stylesheet(paper: str, foot: str) -> str:
    """Style for one report; *foot* stands at the foot of every page beside its number."""
    said = "".join(
        letter if letter.isascii() and (letter.isalnum() or letter in " ,.-") else f"\\{ord(letter):x} "
        for letter in foot
    )
    page = (
        f"@page{{size:{paper};margin:11mm 13mm 14mm;"
        f'@bottom-left{{content:"{said}";font:7.5pt {FONT};color:{MUTED}}}'
        f'@bottom-right{{content:counter(page) " / " counter(pages);font:7.5pt {FONT};color:{MUTED}}}}}'
    )
    return page + _STYLE.replace("\n", "")
