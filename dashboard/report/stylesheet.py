"""How the report looks, on a screen and on paper: ink on white, so that it copies well."""

from __future__ import annotations

from evenfoot.dashboard.charts.theme import FONT
from evenfoot.dashboard.report.picture import FAINT, INK, MUTED, RULE

ACCENT = "#7A3E1D"

HIGH = {"A4": "271mm", "Letter": "253mm"}
"""What is printed on between the margins of a page."""

SHARE_OF_PAGE, SMALLEST, LARGEST = 0.4, 6.4, 9.0
"""Of a page, and points. [common practice, no source]"""
PAGE_OF_LETTER = 2.0e-6
"""Part of a page that a letter of one point takes, in two columns: measured on reports of the demo herds."""

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
.farmer{{font-size:10.5pt}}
.farmer h2{{margin-top:2mm}}
.farmer header{{margin-bottom:0}}
.farmer .small{{font-size:9pt}}
.summary{{list-style:none;padding:0;font-size:11.5pt}}
.summary li{{margin-bottom:1.6mm}}
.todo{{font-size:9pt}}
.todo th,.todo td{{padding:.45mm 2mm .45mm 0;vertical-align:top;overflow-wrap:break-word}}
.todo td{{white-space:nowrap}} .todo td:nth-child(4),.todo td:nth-child(6),.todo td:last-child{{white-space:normal}}
.todo td:last-child{{font-size:8pt;padding-right:0}}
.todo td:last-child:lang(en){{min-width:48.5mm}} .todo td:nth-child(4){{min-width:30mm}}
.todo thead th{{font-size:8pt}}
.todo tbody th{{font-weight:700;min-width:13mm;max-width:30mm;overflow-wrap:anywhere}}
.todo .for th{{max-width:none;padding-top:1.6mm;border-bottom:.8pt solid {INK};white-space:normal}}
.todo tr:has(+.also)>*{{border-bottom:0}}
.todo .also td{{font-size:8.6pt;padding-top:0;white-space:normal}}
.facts{{display:flex;flex-wrap:wrap;gap:2mm 8mm;margin:3mm 0 0;padding-top:2mm;border-top:1pt solid {INK}}}
.facts div{{flex:2 1 44mm}} .facts .short{{flex:1 1 24mm}}
.facts dt{{font-size:8.6pt;color:{MUTED}}}
.facts dd{{margin:0;font-size:9.4pt;font-weight:600;min-height:6mm;overflow-wrap:anywhere}}
.facts dd:empty{{border-bottom:.5pt solid {INK}}}
.notes{{display:none}}
.small,figcaption{{font-size:8.2pt;color:{MUTED}}}
.print{{font-size:{{small}}pt;line-height:1.16;color:{MUTED};columns:2;column-gap:6mm;padding-left:3.5mm}}
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
@media screen and (max-width:640px){{.beside,.halves{{display:block}} main{{padding:4mm}}
.figures td,.figures tbody th{{white-space:normal;min-width:0}}
.todo td:last-child:lang(en){{min-width:0}} .todo td{{white-space:normal}}
.wide{{overflow-x:auto}} .print{{columns:1;font-size:8.5pt}}
.todo,.todo tbody{{display:block}} .todo thead{{display:none}}
.todo tr{{display:flex;flex-wrap:wrap;gap:0 3mm;border-bottom:.4pt solid {RULE};padding:1mm 0}}
.todo tr>*:nth-child(n){{border:0;padding:0;width:auto;font-size:10.5pt}}
.cows,.cows tbody,.cows tr,.cows tr>*:nth-child(n){{display:block;width:auto}}
.cows thead,.cows tr>:empty{{display:none}}
.cows tr>*{{border:0}} .todo td:empty{{display:none}}
.todo td:nth-child(6)::before{{content:attr(data-head) ": "}} .todo tr:has(+.also){{border:0;padding-bottom:0}}}}
@media print{{main{{max-width:none;padding:0}} h2+*,header+section h2{{break-before:avoid}}
.farmer{{display:flex;flex-direction:column;min-height:{{high}};break-after:page}}
.farmer:last-child{{break-after:auto}}
.notes{{display:flex;flex-direction:column;flex:1 1 0;min-height:0;overflow:hidden}}
.ruled{{flex:1 1 0;background:repeating-linear-gradient(#fff 0 8.7mm,{RULE} 8.7mm 9mm)}}
#basis{{break-inside:avoid}}}}
"""


def small_print(letters: int) -> float:
    """Points in which so many letters of method take more than a third of a page.

    The method stands on one page, so the last page is never nearly empty; and it fits under figures that take half.

    Examples
    --------
    >>> small_print(4000), small_print(300)
    (7.1, 9.0)
    """
    return min(max(round((SHARE_OF_PAGE / (PAGE_OF_LETTER * max(letters, 1))) ** 0.5, 1), SMALLEST), LARGEST)


def stylesheet(paper: str, foot: str, letters: int = 0) -> str:
    """Style for one report.

    Parameters
    ----------
    paper : {"A4", "Letter"}
    foot : str
        Stands at the foot of every page beside its number.
    letters : int
        Length of the method, which decides how small it is printed.
    """
    said = "".join(
        letter if letter.isascii() and (letter.isalnum() or letter in " ,.-") else f"\\{ord(letter):x} "
        for letter in foot
    )
    page = (
        f"@page{{size:{paper};margin:11mm 13mm 14mm;"
        f'@bottom-left{{content:"{said}";font:7.5pt {FONT};color:{MUTED}}}'
        f'@bottom-right{{content:counter(page) " / " counter(pages);font:7.5pt {FONT};color:{MUTED}}}}}'
    )
    style = _STYLE.replace("\n", "").replace("{high}", HIGH[paper])
    return page + style.replace("{small}", str(small_print(letters)))
