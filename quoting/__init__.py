"""Quotes and costing for workshops that machine engine cylinder heads.

The way of a job through the package:

1. A caller says what came: ``domain.phrase`` reads it, ``files.job_file`` reads it from
   a file; both give a ``domain.job.Job``.
2. ``domain.work`` lays out what is to be done, ``domain.pricing`` prices it by an
   edition of the rate tables (``domain.rates``), taxed by ``domain.tax``.
3. ``papers`` print the quote, the work order with its route card, the invoice and the
   price board.

``domain`` is pure: no database, web, file, clock or locale. Imports go down only.
"""
