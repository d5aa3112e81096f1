"""One thread for the linear algebra of every process: photographs are measured side by side and their matrices are
small, so further threads, which wait by spinning, would only take the cores away."""

ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
"""Environment of a process, read when it first imports numpy."""
