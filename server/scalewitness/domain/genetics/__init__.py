"""Inheritance, exactly: alleles at a locus, crosses, linkage. Chances are fractions."""
