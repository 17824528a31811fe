"""The style of the mood board's HTML."""

from __future__ import annotations

from ..sheet import THEMES, Theme
from ..sheet.save import CSS_FAMILY

_RULES = """
*{box-sizing:border-box}
html{-webkit-text-size-adjust:100%}
body{margin:0;background:var(--paper);color:var(--ink);font:400 1.0625rem/1.5 FAMILY;overflow-wrap:anywhere}
h1,h2,h3,p,ul,figure{margin:0;padding:0}
ul{list-style:none}
h1{font-weight:700;font-size:clamp(1.9rem,4.2vw,3.4rem);line-height:1.06;letter-spacing:-.01em;text-wrap:balance}
h2{font-weight:600;font-size:1.25rem;line-height:1.25}
h3{font-weight:600;font-size:1rem;line-height:1.3}
b{font-weight:600}
img{display:block;width:100%;height:auto}
.other{position:absolute;top:.9rem;right:1rem;z-index:1;font-size:.875rem;color:var(--quiet);display:flex;gap:.4rem;
align-items:center;min-height:2.75rem;cursor:pointer}
.other input{accent-color:var(--accent);margin:0}
.opening header{padding:3.6rem 1.25rem 1.75rem}
.client{margin-top:.9rem;font-size:1.1875rem;color:var(--quiet)}
.note{margin-top:1.1rem;max-width:38em}
figcaption{padding:.9rem 1.25rem 0}
figcaption p{margin-top:.3rem;color:var(--quiet);max-width:38em}
.opening h2{font-size:1.6rem}
.swatches{display:flex;flex-wrap:wrap;gap:.7rem 1.4rem;margin-top:.9rem;font-size:.875rem;line-height:1.2}
.swatches li{display:flex;align-items:center;gap:.6rem;color:var(--quiet);max-width:100%}
.swatches b{color:var(--ink)}
svg{width:2.5rem;height:2.5rem;flex:none}
.rest,.row{display:grid;gap:2.75rem}
.rest{margin-top:3rem}
.light,.kit,footer{margin:3.5rem 1.25rem 0;padding-top:1.1rem;border-top:1px solid var(--line)}
.how{color:var(--quiet);max-width:38em;margin-top:.3rem}
article{display:grid;gap:.6rem 2rem;padding:1.1rem 0;border-bottom:1px solid var(--line)}
article:last-child{border-bottom:0}
.discs{display:flex;flex-wrap:wrap;gap:.4rem;line-height:0}
article li{margin-bottom:.55rem}
.numbers{display:block;color:var(--quiet);font-size:.9375rem}
.on{color:var(--quiet);font-size:.9375rem}
.lists{display:grid;gap:1.4rem 2rem;margin-top:1rem}
.lists h3{color:var(--quiet);font-size:.9375rem}
.kit{margin-top:1rem}
footer{padding-bottom:3rem;font-size:.875rem;color:var(--quiet)}
footer p{max-width:62em;margin-bottom:.6rem}
@media (min-width:700px){
body{font-size:1.0625rem}
.rest{gap:3.25rem;padding:0 max(2.25rem,calc(50vw - 40rem))}
.row{display:flex;gap:1.75rem;max-width:calc(var(--sum)*42rem)}
.row figure{flex:var(--ratio) 1 0;min-width:0}
.rest figcaption{padding:.8rem 0 0}
.opening header{padding:4.5rem 2.25rem 0}
.light,.kit,footer{margin-left:max(2.25rem,calc(50vw - 40rem));margin-right:max(2.25rem,calc(50vw - 40rem))}
article{grid-template-columns:minmax(9rem,3fr) minmax(8rem,3fr) 6fr}
.lists{grid-template-columns:repeat(auto-fit,minmax(11rem,1fr))}
.opening figcaption{padding-left:2.25rem}
}
@media (min-width:900px){
.opening{display:grid;grid-template-columns:minmax(0,7fr) minmax(0,6fr);grid-template-rows:auto 1fr;column-gap:2.75rem}
.opening.wide{grid-template-columns:minmax(0,9fr) minmax(0,5fr)}
.opening figure{display:contents}
.opening img{grid-column:1;grid-row:1/3}
.opening header{grid-column:2;grid-row:1;padding:4.5rem 2.25rem 0 0}
.opening figcaption{grid-column:2;grid-row:2;align-self:end;padding:2.5rem 2.25rem 0 0}
.rest{margin-top:4rem}
}
@media print{.other{display:none}figure,article{break-inside:avoid}}
"""


def board_css(theme: str) -> str:
    """CSS of the board: its theme, and the other behind the switch at the top."""
    other = next(name for name in THEMES if name != theme)
    rules = _RULES.replace("FAMILY", CSS_FAMILY).replace("\n", "")
    return f":root{{{_colours(THEMES[theme])}}}:root:has(#other:checked){{{_colours(THEMES[other])}}}{rules}"


def _colours(theme: Theme) -> str:
    return (
        f"color-scheme:{theme.name};--paper:{theme.paper};--ink:{theme.ink};--quiet:{theme.quiet};--line:{theme.line};"
        f"--accent:{theme.accent}"
    )
