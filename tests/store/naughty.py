"""Strings that have broken programs before, by category; written from memory of what is commonly tried."""

from __future__ import annotations

CATEGORIES: dict[str, tuple[str, ...]] = {
    "words that mean nothing": (
        "null", "NULL", "None", "nil", "undefined", "NaN", "nan", "inf", "-Infinity", "true", "N/A", "#N/A",
        "\\N", "(null)",
    ),
    "numbers in disguise": (
        "0", "-1", "00017", "1e309", "0x1F", "1_000", "1,000.00", "1.0.0", "9" * 40, "١٢٣", "½", "²", "1/0",
        "+49 170",
    ),
    "dates in disguise": (
        "1-2", "MAR1", "SEPT2", "2026-02-30", "0000-00-00", "12:60",
    ),
    "SQL": (
        "'; drop table players; --", "\" or 1=1 --", "Robert'); delete from matches where ('1'='1", "$1", "?",
        ":name", "%s", "{0}", "a' || 'b", "/* */", "--",
    ),
    "formulas": (
        "=1+1", "+1", "-1+2", "@SUM(A1)", "=cmd|' /C calc'!A0", "'=1+1", "''=1", " =1+1",
        "=HYPERLINK(\"http://x.example\")", "＝1+1", "-", "'", "''",
    ),
    "HTML and scripts": (
        "<b>bold</b>", "<script>alert(1)</script>", "<img src=x onerror=alert(1)>", "&lt;&amp;&#39;",
        "javascript:alert(1)", "<!-- -->", "]]>", "<svg/onload=1>", "<style>*{display:none}</style>",
        "<?xml version=\"1.0\"?><!DOCTYPE x [<!ENTITY y SYSTEM \"file:///etc/passwd\">]><x>&y;</x>",
        "\" onmouseover=\"alert(1)", "</td></tr></table>", "data:text/html,<script>1</script>",
    ),
    "Markdown": (
        "**bold**", "[link](http://x.example)", "# heading", "`code`", "| a | b |", "> quote", "![](x)",
        "~~gone~~", "$x^2$", ":smile:", ":red[text]",
    ),
    "shell and paths": (
        "$(reboot)", "`reboot`", "../../etc/passwd", "..\\..\\x", "C:\\x\\y", "/dev/null", "~", "con",
        "aux.csv", "a;b", "a|b", "%00", "%2e%2e", "file:///etc/passwd", "\\\\host\\share", "/", "..", "a/b", "NUL.csv",
        "& calc", "$HOME", "%PATH%", "> /dev/null", "!!",
    ),
    "quotes and separators": (
        "\"", "\"\"", "''", "say \"hello\"", "a,b", "a;b;c", "\",\"", "\";\"", "\\", "\\\"", "\\n", "a\\,b",
        "“curly”", "«guillemets»", "O'Brien",
    ),
    "letters with marks": (
        "Zoë", "Åsa Öberg", "Łukasz", "Nuñez", "Ðorđe", "é", "ﬁ", "ß", "İ", "ı", "Ǆ", "Ꭰ",
    ),
    "other scripts": (
        "田中さん", "Ω≈ç√", "Пётр", "مرحبا", "שלום", "สวัสดี", "한국어", "𠜎𠜱", "ਪੰਜਾਬੀ", "ᚠᛇᚻ",
    ),
    "emoji": (
        "🎾", "👩🏽\u200d🦰",
        "👨\u200d👩\u200d👧\u200d👦", "🇨🇭", "❤️", "1️⃣",
    ),
    "invisible and directional": (
        "a\u200bb", "\u202eabc", "\u2066abc\u2069", "a\u00adb", "a\ufeffb", "\u2060a", "a͏b", "\u061ca",
        "a\u200db", "a\u200cb", "\u200fa\u200e", "\u202da\u202c", "\u2068a\u2069", "a\u180eb", "a\u3164b", "a\u2800b",
        "a\ufe0fb", "\U000e0001a\U000e007f",
    ),
    "at the edges of Unicode": (
        "\ue000", "\ufffd", "\ufffe", "\uffff", "\U0010ffff", "\U0001f9ff", "a\x80b", "a\x9fb", "\u0085a",
    ),
    "alike and not the same": (
        "caf\u00e9", "cafe\u0301", "\u212a", "K", "k", "\u017f", "\u00c5", "A\u030a", "\u212b", "P\u0430ul", "Paul",
        "I\u0307", "a b", "a\u00a0b", "a  b", "a\u2009b",
    ),
    "stacked marks": (
        "Z̸̡̛̤̲a̷l̶g̵o̸" * 3, "a" + "\u0300" * 60,
    ),
    "width and case": (
        "ＦＵＬＬ", "ℍ𝕖𝕝𝕝𝕠", "ᴬᴮᶜ", "ｈａｌｆ",
    ),
    "templates": (
        "{{7*7}}", "${7*7}", "<%= 7 %>", "#{7}", "{%raw%}", "__proto__", "constructor", "%n%n%n",
    ),
    "long": (
        "x" * 3000, "ab " * 799 + "ab",
    ),
    "almost nothing": (
        ".", "_", "-", "*", "\u3000x", "\u2003x", "x\u0085y", "x\u2028y",
    ),
}  # fmt: skip
STRINGS = tuple(dict.fromkeys(text for texts in CATEGORIES.values() for text in texts))
ONLY_IN_NOTES = (
    "a\nb",
    "a\r\nb",
    "a\tb",
    "\tx",
    "\nx",
    " led by a blank",
    "followed by one ",
    "a\x0bb",
    "a\x1bb",
    "a\x7fb",
)
"""A note may hold these; an id or a name with a control character is refused, and one with blanks around is trimmed."""
