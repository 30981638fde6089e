"""Issued papers: the bytes stay (I10)."""

from django.db import models

from custody.terms import DocumentKind


class Document(models.Model):
    """One issued PDF, stored by its SHA-256 under CUSTODY_HOME/documents."""

    writable = {"INSERT"}

    kind = models.CharField(max_length=30, choices=DocumentKind.choices())
    title = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    size = models.PositiveIntegerField()
    party = models.ForeignKey("custody.Party", null=True, on_delete=models.PROTECT, related_name="documents")
    operation = models.ForeignKey("custody.Operation", null=True, on_delete=models.PROTECT, related_name="documents")
    lot = models.ForeignKey("custody.Lot", null=True, on_delete=models.PROTECT, related_name="documents")
    settlement = models.ForeignKey("custody.Settlement", null=True, on_delete=models.PROTECT, related_name="documents")
    copy_no = models.PositiveSmallIntegerField(default=1)
    issued_by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    issued_at = models.DateTimeField()

    class Meta:
        ordering = ("-id",)

    def __str__(self) -> str:
        return self.title
