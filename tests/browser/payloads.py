"""Texts that a page must show as they were typed and never obey. Each holds a mark of its own, so that it can be found again."""

from __future__ import annotations

SHORT = (
    "{mark} <script>window.scriptRan='{mark}';alert(1)</script>",
    '{mark} "><img src=x onerror="window.scriptRan=1;alert(1)">',
    "{mark} '><img src=x onerror='window.scriptRan=1'> \"onmouseover=\"window.scriptRan=1",
    "{mark} [click](javascript:window.scriptRan=1) [x](JaVaScRiPt:alert(1)) [t](java\tscript:alert(1))",
    "{mark} [d](data:text/html,<script>alert(1)</script>) [v](vbscript:alert(1)) <javascript:alert(1)>",
    "{mark} [r][r]\n\n[r]: javascript:alert(1)",
    "{mark} ![i](http://elsewhere.invalid/i.png) <http://elsewhere.invalid/> https://elsewhere.invalid/",
    "{mark} [a](https://elsewhere.invalid/){{onclick=window.scriptRan=1 id=cautions}}",
    "{mark} {{: onclick='window.scriptRan=1' class='md-header' style='display:none'}}",
    "{mark} <!-- hidden --> <svg onload=window.scriptRan=1> <svg/onload=alert(1)> <math><mi xlink:href=javascript:alert(1)>",
    "{mark} <iframe srcdoc='<script>parent.scriptRan=1</script>'></iframe><object data=javascript:alert(1)>",
    "{mark} <style>*{{display:none}}</style><link rel=stylesheet href=//elsewhere.invalid/s.css>",
    "{mark} <meta http-equiv=refresh content='0;url=http://elsewhere.invalid/'><base href=//elsewhere.invalid/>",
    "{mark} <form action=http://elsewhere.invalid/><input autofocus onfocus=window.scriptRan=1>",
    "{mark} </td></tr></table></article></main></body></html><plaintext>",
    "{mark} <a href=javascript:window.scriptRan=1>x</a><details open ontoggle=window.scriptRan=1>",
    "{mark} ]]> <![CDATA[x]]> <?xml?> &lt;b&gt; &amp; &#60;i&#62; &nbsp; </script> --> */",
    "{mark} {{{{7*7}}}} {{% raw %}} {{% endraw %}} {{{{ config }}}} {{# no #}} ${{7*7}} <%= 7*7 %>",
    "{mark} %s %(x)s %n {{0}} {{mark}} \\ \\n %00 %0a $1 \\1 ../../etc",
    "{mark} a | b || c\n| - | - |\n| d | e | f |",
    "{mark} ` `` ``` ```js x``` ~~~ * ** _ __ # > 1. + - [ ] [^1] :::",
    "# {mark} heading\n\n---\n\n- list\n1. one\n    code",
    "- {mark} a list\n- another",
    "1. {mark} a numbered list",
    "{mark} " + "W" * 180,
    "{mark} " + "x<" * 90,
    "{mark} \U0001f52a\U0001faa2\U0001f9f5 é ß 中文 العربية עברית e\u0301\u0302\u0303 \U0001f468\u200d\U0001f527",
    '=HYPERLINK("http://elsewhere.invalid/{mark}","{mark}")',
    "+cmd|' /C calc'!A0 {mark}",
    "@SUM(1+1)*{mark}",
    "-2+3+{mark}",
    '{mark} href="/results/" src="/x" id="cautions" EDGEHOLDDRAWING0END',
)
LABELS = (
    "{mark}<img src=x onerror=alert(1)>",
    "{mark}|a`b*c_[x](javascript:1)",
    '=1+1{mark}"><b>',
    "{{{{7*7}}}}{mark}<script>alert(1)",
    "{mark}" + "W" * 48,
)


class Payloads:
    """Payloads one after another, every one with the next mark; what was handed out is kept in ``told``."""

    def __init__(self) -> None:
        self.told: list[str] = []

    def short(self) -> str:
        """A text of up to 200 characters."""
        return self._next(SHORT)

    def label(self) -> str:
        """A text of up to 60 characters."""
        return self._next(LABELS)

    def every(self) -> list[str]:
        """Every payload of up to 200 characters once."""
        return [self._filled(template) for template in SHORT]

    def long(self) -> str:
        """All payloads in one text of several paragraphs, and one word that is too long for any line."""
        joined = "\n\n".join(self.every())
        return joined + "\n\n" + "V" * (4990 - len(joined))

    def _next(self, templates: tuple[str, ...]) -> str:
        return self._filled(templates[len(self.told) % len(templates)])

    def _filled(self, template: str) -> str:
        self.told.append(template.format(mark=f"mark{len(self.told):04d}"))
        return self.told[-1]


def as_shown(text: str) -> str:
    """A text as a page shows it: line breaks and runs of spaces are one space."""
    return " ".join(text.split())
