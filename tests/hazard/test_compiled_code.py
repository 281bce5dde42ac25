"""Compiled code is kept beside its module and made anew when that file changes, but not when a module it calls does.

So such a module carries a digest of those it calls: a change there changes it too.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from hazard import topography_lots, topography_proof

HAZARD = Path(topography_lots.__file__).parent
CALLS = {  # in this order: the second takes in the first
    topography_proof: ("topography_lines", "topography_kernels"),
    topography_lots: ("topography_lines", "topography_kernels", "topography_proof"),
}


@pytest.mark.parametrize("module", CALLS, ids=lambda m: m.__name__)
def test_compiled_modules_change_with_those_they_call(module):
    digest = hashlib.sha256()
    for name in CALLS[module]:
        digest.update((HAZARD / f"{name}.py").read_bytes())
    assert digest.hexdigest()[:16] == module.CALLED, f'set {module.__name__}.CALLED = "{digest.hexdigest()[:16]}"'


@pytest.mark.parametrize("module", CALLS, ids=lambda m: m.__name__)
def test_every_module_called_is_among_them(module):
    text = Path(module.__file__).read_text(encoding="utf-8")
    found = {line.split()[1] for line in text.splitlines() if line.startswith("from hazard.topography_")}
    assert {name.rpartition(".")[2] for name in found} == set(CALLS[module])
