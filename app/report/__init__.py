"""The page to show: an inspection as a PDF of two or three pages that the other side can judge."""
