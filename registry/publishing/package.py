"""What stands beside the tables of a release: its description, checksums, licences and citations. Pure text.

The description follows the Data Package and Table Schema specifications, version 1 (Frictionless Data,
specs.frictionlessdata.io); the citation file follows the Citation File Format 1.2.0 (citation-file-format.github.io).
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from registry.publishing.tables import TABLES, Table

TITLE = "Cleanstop: infrared hotspots of lenses"
AUTHOR = "Cleanstop contributors"
OWN_LICENCE = {
    "name": "CC0-1.0",
    "title": "CC0 1.0 Universal",
    "path": "https://creativecommons.org/publicdomain/zero/1.0/",
}
PICTURES_LICENCE = {
    "name": "CC-BY-4.0",
    "title": "Creative Commons Attribution 4.0 International",
    "path": "https://creativecommons.org/licenses/by/4.0/",
}


@dataclass(frozen=True)
class Edition:
    """What every text names of a release. address: its permanent one."""

    version: str
    made_at: datetime
    method_version: str
    address: str


def data_package(edition: Edition, files: Mapping[str, Mapping]) -> str:
    """datapackage.json. files: per path SHA-256 ("sha256"), "bytes" and "rows"."""
    described = {
        "profile": "data-package",
        "name": f"cleanstop-{edition.version.replace('.', '-')}",
        "id": edition.address,
        "title": TITLE,
        "description": "Which lens stays free of an infrared hotspot, at which apertures, and how sure that is. "
        f"Method {edition.method_version}; the priors are in priors.json. CHANGES.md tells what changed.",
        "version": edition.version,
        "created": edition.made_at.isoformat(),
        "homepage": edition.address,
        "licenses": [OWN_LICENCE],
        "contributors": [{"title": AUTHOR, "role": "author"}],
        "resources": [
            _resource(TABLES[name], suffix, files) for name in TABLES for suffix in ("csv", "parquet")
        ],
    }
    return json.dumps(described, ensure_ascii=False, indent=2) + "\n"


def _resource(table: Table, suffix: str, files: Mapping[str, Mapping]) -> dict:
    path = path_of(table, suffix)
    told = files[path]
    resource = {
        "name": f"{table.name.replace('_', '-')}-{suffix}",
        "path": path,
        "title": table.says,
        "format": suffix,
        "mediatype": {"csv": "text/csv", "parquet": "application/vnd.apache.parquet"}[suffix],
        "hash": f"sha256:{told['sha256']}",
    }
    if suffix == "csv":
        resource |= {
            "profile": "tabular-data-resource",
            "encoding": "utf-8",
            "dialect": {"lineTerminator": "\r\n"},
            "schema": _schema(table),
        }
    else:  # readers of tables take a number that is not there for a fault of a Parquet file's schema
        resource["description"] = (
            f"The fields of {path_of(table, 'csv')}, described in the file's own metadata."
        )
    if table.other_licence:
        resource["licenses"] = [{"name": "see-each-row", "title": "The licence that each row names"}]
    if table.name == "images":
        resource["title"] += f" The pictures themselves are under {PICTURES_LICENCE['title']}."
    return resource


def _schema(table: Table) -> dict:
    fields = [
        {
            "name": field.name,
            "type": field.type,
            "description": field.says + (f" [{field.unit}]" if field.unit else ""),
        }
        | ({"unit": field.unit} if field.unit else {})
        for field in table.fields
    ]
    return {"fields": fields, "missingValues": [""]} | ({"primaryKey": list(table.key)} if table.key else {})


def path_of(table: Table, suffix: str) -> str:
    """Where a table lies in a release; tables under another licence have a folder of their own."""
    return f"{'other-licences' if table.other_licence else 'data'}/{table.name}.{suffix}"


def checksums(files: Mapping[str, Mapping]) -> str:
    """SHA256SUMS, as coreutils' sha256sum -c reads it."""
    return "".join(f"{told['sha256']}  {path}\n" for path, told in sorted(files.items()))


def citation(edition: Edition) -> dict[str, str]:
    """The release's citation: "text", "bibtex" and "cff"."""
    day, year = edition.made_at.date().isoformat(), edition.made_at.year
    return {
        "text": f"{AUTHOR} ({year}). {TITLE} (release {edition.version}) [data set]. {edition.address}",
        "bibtex": f"@misc{{cleanstop_{edition.version.replace('.', '_')},\n"
        f"  author = {{{{{AUTHOR}}}}},\n"
        f"  title = {{{TITLE}}},\n"
        f"  year = {{{year}}},\n"
        f"  version = {{{edition.version}}},\n"
        f"  url = {{{edition.address}}},\n"
        "  note = {Data set, CC0 1.0}\n}\n",
        "cff": "cff-version: 1.2.0\n"
        "message: If you use this data set, please cite it as below.\n"
        "type: dataset\n"
        f'title: "{TITLE}"\n'
        f'version: "{edition.version}"\n'
        f"date-released: {day}\n"
        "license: CC0-1.0\n"
        f"url: {edition.address}\n"
        f"authors:\n  - name: {AUTHOR}\n",
    }


def licences() -> str:
    return (
        "# Licences\n\n"
        f"- The tables in data/: {OWN_LICENCE['title']}, {OWN_LICENCE['path']}\n"
        f"- The pictures that data/images lists (not included): {PICTURES_LICENCE['title']}, "
        f"{PICTURES_LICENCE['path']}\n"
        "- The tables in other-licences/: each row is under the licence that it names; its source is named beside "
        "it. Rows under CC BY-SA may be passed on under CC BY-SA only.\n"
    )


def json_ld(edition: Edition, files: Mapping[str, Mapping]) -> dict:
    """The release as a schema.org Dataset."""
    return {
        "@context": "https://schema.org/",
        "@type": "Dataset",
        "@id": edition.address,
        "name": TITLE,
        "description": "Chance of a frame free of an infrared hotspot, by lens, aperture, focal length and cut-on "
        "wavelength, with every reading and claim that it rests on.",
        "url": edition.address,
        "version": edition.version,
        "datePublished": edition.made_at.date().isoformat(),
        "license": OWN_LICENCE["path"],
        "isAccessibleForFree": True,
        "creator": {"@type": "Organization", "name": AUTHOR},
        "measurementTechnique": f"Cleanstop method {edition.method_version}",
        "variableMeasured": ["hotspot excess (EV)", "chance of a clean frame", "clean limit (f-number)"],
        "distribution": [
            {
                "@type": "DataDownload",
                "name": path,
                "contentUrl": f"{edition.address}files/{path}",
                "encodingFormat": "text/csv" if path.endswith(".csv") else "application/vnd.apache.parquet",
                "contentSize": str(told["bytes"]),
                "sha256": told["sha256"],
            }
            for path, told in sorted(files.items())
            if path.endswith((".csv", ".parquet"))
        ],
    }
