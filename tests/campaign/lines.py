"""Every command with how often it is drawn, lines that work, and values that its options take."""

from __future__ import annotations

from typing import Final

SCHEMES: Final = ("full.toml", "drawn.toml", "masked.toml", "photo.toml", "mandolin.toml", "drum.toml")
_SPECTRA = (
    "spectrum.csv --sample='dye A' --blank blank --quantity absorbance",
    "spectrum.cgats --sample a1 --blank blank",
)
LINES: Final[dict[str, tuple[int, tuple[str, ...]]]] = {
    "check": (16, ("check {scheme}", "check {scheme} --json")),
    "figures": (10, ("figures {scheme} --json", "figures {scheme}")),
    "render": (
        10,
        (
            "render {scheme} -o out --width 64 --flat",
            "render {scheme} -o out --width 64 --flat --json",
            "render full.toml -o out --width 64 --lifelike --json",
        ),
    ),
    "turn": (1, ("turn full.toml -o out --width 64 --frames 8",)),
    "card": (2, ("card -o out",)),
    "fit": (
        6,
        (
            "fit readings.csv --name house -o out",
            "fit readings.csv --for full.toml --json -o out",
            "fit readings.csv readings.csv -o out",
            "fit readings.csv --earlier house.dye.toml -o out",
            "fit card.jpg --strength='12 mL/L' --film='40 um' --grey 0.18 --light D50 -o out",
        ),
    ),
    "fit-mix": (3, ("fit-mix readings.csv --dye='house.dye.toml=12 mL/L' --dye='second.dye.toml=5 mL/L'",)),
    "import": (8, tuple(f"import {told} --strength='0.02 g/L' --concentrate='40 g/L' -o out" for told in _SPECTRA)),
    "progress": (
        5,
        (
            "progress job/scheme.toml --coats-done 1 --lab 60,12,40 --json --keep",
            "progress job/scheme.toml --coats-done 2 --srgb #aa8844 --log job/job-log.jsonl --keep",
            "progress full.toml --coats-done 1 --photo base.png --patch 2,3,20,10 --white 30,5,20,20",
        ),
    ),
    "diary": (
        9,
        (
            "diary job --wet='38, 45, 41 um'",
            "diary job --coat next",
            "diary job --batch sea --poured='blue 1.4 mL, carrier 60 mL'",
            "diary job --json",
            "diary kept --strip",
            "diary kept --withdraw last --json",
            "diary job --photo bench.jpg --white='15 %, 30 %' --spot='50 %, 50 %'",
        ),
    ),
    "log": (4, ("log job", "log job --withdraw --json", "log kept --json")),
    "ladder": (2, ("ladder {scheme} -o out --coats 3 --strengths 1,2",)),
    "reach": (
        2,
        ("reach full.toml #c88a3a -o out --most-coats 2 --within 40 --json", "reach full.toml 'step 3' -o out"),
    ),
    "evenness": (2, ("evenness {scheme} -o out --width 64",)),
    "tolerance": (2, ("tolerance {scheme} -o out --runs 100 --json",)),
    "fade": (3, ("fade full.toml --years-room 5 --step yellow=3 --step blue=5 -o out --json",)),
    "atlas": (2, ("atlas full.toml -o out --coats 2 --strengths 1,4 --workers 1",)),
    "render-all": (1, ("render-all job --width 64 --no-board --workers 1",)),
    "sheet": (
        4,
        (
            "sheet {scheme} -o out --form html --form text --form json",
            "sheet {scheme} -o out --form pdf --form html --templates",
            "sheet {scheme} --show",
        ),
    ),
    "board": (
        2,
        (
            "board full.toml -o out --width 64 --words words.toml",
            "board full.toml drum.toml -o out --width 64 --lang de --pdf",
        ),
    ),
    "agree": (6, ("agree code.txt --job asked", "agree {code} --job asked --json")),
    "teach": (3, ("teach job", "teach kept --json", "teach kept --write")),
    "record": (2, ("record job -o out --width 64", "record kept -o out --width 64 --json")),
    "check-record": (8, ("check-record test_part.record.zip", "check-record test_part.record.zip --json")),
    "remake": (
        2,
        (
            "remake test_part.record.zip house.dye.toml -o out --json",
            "remake test_part.record.zip --dyes house.dye.toml --as yellow=house.dye.toml --today today.toml -o out",
        ),
    ),
    "book": (3, ("book . -o out", "book kept --order --json", "book . --like='#8a3a1c over silver' --json")),
    "touch-up": (
        2,
        (
            "touch-up full.toml --damage='20,10 30,12 24,20 mm' -o out --width 64",
            "touch-up kept --mask mask.png -o out --width 64 --json",
        ),
    ),
    "start": (
        4,
        (
            "start out/new --shape teardrop",
            "start out/new --like straw",
            "start out/new --shape='double bout' --json",
            "start out/new --photo bench.jpg --part-width='320 mm'",
            "start out/new --photo left.png --photo top.png --photo right.png --lamp-sides left,top,right"
            " --part-width='60 mm'",
        ),
    ),
    "choose": (
        2,
        ("choose {scheme} -o out --width 64", "choose full.toml --colour=#c88a3a --what steps --json -o out"),
    ),
    "completion": (1, ("completion bash", "completion powershell")),
    "practise": (1, ("practise --show 3 -o out",)),
}
"""Lines as a shell reads them, with its quotes."""

_SEEN = ("--light=A", "--light=D50", "--light=LED-B3", "--light=FL2")
_AGED = ("--years-window=2", "--years-room=30", "--years-case=100", "--exposure=40")
GOOD: Final[dict[str, tuple[str, ...]]] = {
    "render": (*_SEEN, "--view=0,45,70", "--lamp=45", "--around=stage", "--around=workshop", "--width=200", "--timing"),
    "turn": ("--light=A", "--around=sun"),
    "card": ("--paper=Letter", "--coats=0,1,3,9"),
    "fit": (
        *("--observer=10", "--base=solid", "--flake-spread=0.2", "--geometry=d/8 included", "--sprayed=one by one"),
        *("--concentrate=40 g/L", "--film=medium", "--light=A", "--after-clear=readings.csv", "--name=deep Ωμ <b>"),
    ),
    "fit-mix": ("--film=light", "--light=A", "--base=wood", "--flake-spread=0.4"),
    "import": ("--path=5 mm", "--name==1+1", "--baseline=flat", "--quantity=transmittance", "--no-blank"),
    "progress": ("--mix=honey", "--coat=1", "--witness", "--under-clear", "--light=A", "--white-reflectance=0.8"),
    "diary": (
        *(
            "--note=<b>=1+1 ‮x",
            "--temperature=70 F",
            "--humidity=45 %",
            "--gun=#panic()",
            "--drops=yellow 43 drops = 1 mL",
        ),
        *("--at=14:20", "--at=2026-05-04 14:20", "--lot=yellow B12", "--left=22 mL", "--wet=1,5 mil", "--coat=sea"),
    ),
    "ladder": (*_SEEN, "--mix=sea", "--agreed=1x3", "--cell=5", "--view=45", "--lamp=20", "--around=window"),
    "reach": (
        *("--reading=hue", "--films=30,50", "--most-film=90", "--most-dyes=1", "--coat=1", "--dyes=library"),
        *("--within=3", "--strongest=80"),
    ),
    "evenness": (
        *("--gun=detail", "--fan=80", "--distance=250", "--beta=3", "--overlap=0.9", "--direction=45 deg", "--crossed"),
        *("--lines=random", "--seed=0", "--light=A"),
    ),
    "tolerance": ("--within=0.1", "--seed=123456", "--light=A"),
    "fade": (*_AGED, "--light=A", "--step=yellow=8"),
    "sheet": ("--paper=Letter", "--templates", "--form=text", "--json"),
    "board": (
        "--title=</script><zz>",
        "--allow=honey coats 1 to 5",
        "--allow=strength 80 to 120 %",
        "--lang=fr",
        "--json",
    ),
    "remake": ("--anyway", "--also=house"),
    "book": ("--dye=yellow", "--words=test", "--beside=job kept"),
    "touch-up": (
        *(*_AGED, "--depth=base", "--texture=flat", "--feather=20", "--hand=hurried", "--clear=blend", "--light=A"),
        "--face=front",
    ),
    "start": (
        "--kind=wood",
        "--holes=close",
        "--turn=90",
        "--depth=45 mm",
        "--back=mirrored",
        "--lamp-heights=45",
        "--json",
    ),
}
"""Options with values that are good where they go with the line."""
