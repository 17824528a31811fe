"""The standard tables in ``materials/data``, written from colour-science.

Tracing and developing read the small CSV files, because importing colour-science takes a second. Run
``python -m materials.standards`` to write them again; a test does so and compares.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

DATA = Path(__file__).parent / "data"

CIE_ILLUMINANTS = (
    "A", "B", "C", "D50", "D55", "D60", "D65", "D75", "E",
    *(f"FL{i}" for i in range(1, 13)),
    *(f"FL3.{i}" for i in range(1, 16)),
    *(f"HP{i}" for i in range(1, 6)),
    "LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5", "LED-BH1", "LED-RGB1", "LED-V1", "LED-V2",
)  # fmt: skip

ISO_7589 = {"daylight": "ISO 7589 Photographic Daylight", "studio-tungsten": "ISO 7589 Studio Tungsten"}


def write_standard_tables(folder: Path = DATA) -> None:
    """Write observer.csv, illuminants.csv, iso7589.csv, daylight.csv and chart.csv into `folder`."""
    import colour

    visible, ten = np.arange(380, 781, 5), np.arange(380, 691, 10)
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    every_nm = np.arange(380, 781)
    values = np.array([observer[nm] for nm in every_nm])
    _write(
        folder / "observer.csv",
        "CIE 1931 2 degree standard observer, CIE 015:2018 table 6 (ISO/CIE 11664-1)",
        every_nm,
        dict(zip(("x", "y", "z"), values.T, strict=True)),
    )
    lamps = colour.SDS_ILLUMINANTS
    _write(
        folder / "illuminants.csv",
        "relative spectral power of CIE illuminants, CIE 015:2018 tables 5, 10 and 12",
        visible,
        {name: _sampled(lamps[name], visible) for name in CIE_ILLUMINANTS},
    )
    _write(
        folder / "iso7589.csv",
        "relative spectral power of photographic illuminants, ISO 7589:2002",
        ten,
        {name: _sampled(lamps[key], ten) for name, key in ISO_7589.items()},
    )
    basis = colour.colorimetry.SDS_BASIS_FUNCTIONS_CIE_ILLUMINANT_D_SERIES
    _write(
        folder / "daylight.csv",
        "basis functions of CIE D-series daylight, CIE 015:2018 table 6",
        visible,
        {name: _sampled(basis[name], visible) for name in ("S0", "S1", "S2")},
    )
    patches = colour.SDS_COLOURCHECKERS["ISO 17321-1"]
    _write(
        folder / "chart.csv",
        "reflectance of the 24 patches of the target of ISO 17321-1",
        visible,
        {name: _sampled(patch, visible) for name, patch in patches.items()},
    )


def _sampled(distribution: object, wavelength_nm: np.ndarray) -> np.ndarray:
    table = dict(zip(distribution.wavelengths, distribution.values, strict=True))  # type: ignore[attr-defined]
    return np.array([table.get(float(nm), 0.0) for nm in wavelength_nm])


def _write(path: Path, source: str, wavelength_nm: np.ndarray, columns: Mapping[str, np.ndarray]) -> None:
    header = f"# {source}; through colour-science 0.4.7. Written by materials/standards.py.\n"
    rows = [",".join(("nm", *columns))]
    for index, nm in enumerate(wavelength_nm):
        rows.append(",".join((f"{nm:g}", *(f"{column[index]:.10g}" for column in columns.values()))))
    path.write_text(header + "\n".join(rows) + "\n", encoding="utf-8")


if __name__ == "__main__":
    write_standard_tables()
