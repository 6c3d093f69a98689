"""Inheritance, exactly: gametes at one locus and at two, linkage. Chances are fractions."""
