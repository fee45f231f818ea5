"""Makes the archive of a dossier."""

from __future__ import annotations

from collector.evidence.archive import TooLarge, as_json, digest, packed
from collector.evidence.dossier import Dossier
from collector.evidence.verifying import EVIDENCE, REPORT, is_too_large
from collector.report import evidence_page


def made(dossier: Dossier) -> bytes:
    """The archive; TooLarge where it comes to more than `verify` reads."""
    versions = {**dossier.document["versions"], "report": evidence_page.template_digest()}
    document = {**dossier.document, "versions": versions}
    evidence = as_json(document)
    if is_too_large(evidence):
        raise TooLarge
    report = evidence_page.page(document, digest(evidence)).encode("utf-8")
    return packed(dossier.folder, {EVIDENCE: evidence, REPORT: report, **dossier.files}, dossier.moment)
