"""Sheets in the layouts that people keep become rows in the columns of Evenfoot: one row a finding."""
