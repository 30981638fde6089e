"""A bar certificate, read from the book, rendered and kept, against a bare render of the same page."""

from tests.bench import home
from tests.bench.measuring import heading, median, seconds, tell

DATABASE = "papers"
RUNS = 15


def run() -> None:
    heading("4. A certificate")
    home.lay_out(DATABASE)
    from django.template.loader import render_to_string
    from django.utils import timezone
    from weasyprint import CSS, HTML

    from custody.actions.issue_certificate import issue_certificate
    from custody.documents.fill_certificate import certificate_paper
    from custody.documents.render import SHEETS
    from custody.models import Bar
    from tests import builders, people

    builders.places()
    bar = Bar.objects.select_related("lot__created_by").get(lot=builders.bar())
    by = people.vera_vault()
    paper = certificate_paper(bar, copy_no=1, at=timezone.now(), by=by)
    html = render_to_string("documents/certificate.html", {"paper": paper, "title": paper.number})
    sheets = [CSS(filename=SHEETS / name) for name in ("paper.css", "certificate.css")]

    def issue() -> None:
        issue_certificate(lot=bar.lot, at=timezone.now(), by=by)

    def render() -> None:
        HTML(string=html).render(stylesheets=sheets).write_pdf(pdf_variant="pdf/a-3a")

    issue()
    render()
    pairs = [(seconds(issue), seconds(render)) for _ in range(RUNS)]
    issued, rendered = (median(list(times)) for times in zip(*pairs, strict=True))
    tell(f"certificate read from the book, rendered, kept: {issued * 1e3:.1f} ms")
    tell(f"bare render of the same page: {rendered * 1e3:.1f} ms")
    tell(f"the certificate takes {issued / rendered:.2f} times the bare render")
    home.drop(DATABASE)
