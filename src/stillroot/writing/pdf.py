"""A page as PDF, through WeasyPrint."""

from __future__ import annotations

import io

from stillroot.errors import EnvironmentProblem

MISSING = (
    "a PDF is made through WeasyPrint, which cannot be loaded here ({reason}): pip install "
    "'stillroot[pdf]', and on Debian or Ubuntu, as root, apt-get install -y libpango-1.0-0 "
    "libpangoft2-1.0-0 libharfbuzz-subset0. report.html prints from any browser without it"
)


def assert_pdf_can_be_made() -> None:
    """Refuse before any work is done where WeasyPrint or what it stands on is missing.

    Raises
    ------
    EnvironmentProblem
        With what to install.
    """
    try:
        import weasyprint  # noqa: F401, PLC0415 - an extra, and slow to import
    except (ImportError, OSError) as error:
        raise EnvironmentProblem(MISSING.format(reason=str(error).splitlines()[0])) from None


def pdf_of(page: str) -> bytes:
    """Return a self-contained page as PDF; nothing is fetched.

    Raises
    ------
    EnvironmentProblem
        WeasyPrint cannot be loaded.
    """
    assert_pdf_can_be_made()
    from weasyprint import HTML  # noqa: PLC0415

    written = io.BytesIO()
    HTML(string=page).write_pdf(written)
    return written.getvalue()
