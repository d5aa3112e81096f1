"""From a measured neck to findings in words, each stated only where it exceeds its uncertainty."""

from vision.findings.finding import Finding
from vision.findings.judge import judge
from vision.findings.shape import shape_of
from vision.findings.summary import summary_lines
from vision.findings.truss_rod import RodAdvice, truss_rod_advice

__all__ = ["Finding", "RodAdvice", "judge", "shape_of", "summary_lines", "truss_rod_advice"]
