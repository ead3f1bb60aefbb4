//! Records and readings to findings: the joint estimate, EI, factor, verdicts.
