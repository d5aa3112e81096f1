"""Blocks of text set in columns of about equal height, over as many pages as they need."""

from fpdf import FPDF

from app.palette import LINE, rgb
from app.report.sheet import GUTTER_MM, MARGIN_MM, WIDTH_MM, Block, height_of, room_mm, write

GAP_MM = 1.8  # between blocks
_STEP_MM = 1.0


def packed(heights_mm: list[float], columns: int, room: float) -> list[list[int]]:
    """Which of the first blocks stand in which column, in order, where each column holds room mm.

    Blocks that do not fit are left out at the end; the answer may hold none.
    """
    filled: list[list[int]] = [[]]
    used = 0.0
    for index, height in enumerate(heights_mm):
        needed = height if not filled[-1] else used + GAP_MM + height
        if needed > room:
            if height > room or len(filled) == columns:
                break
            filled.append([])
            needed = height
        filled[-1].append(index)
        used = needed
    return filled


def balanced(heights_mm: list[float], columns: int, room: float) -> list[list[int]]:
    """The same blocks as `packed` in the lowest columns that hold them."""
    most = sum(len(column) for column in packed(heights_mm, columns, room))
    wanted = heights_mm[:most]
    low = max(wanted, default=0.0)
    while low < room:
        tried = packed(wanted, columns, low)
        if sum(len(column) for column in tried) == most:
            return tried
        low += _STEP_MM
    return packed(wanted, columns, room)


def write_columns(pdf: FPDF, blocks: list[Block], columns: int = 2) -> None:
    """Set the blocks from the present height on; a page that is full is followed by a new one."""
    width = (WIDTH_MM - (columns - 1) * GUTTER_MM) / columns
    heights = [height_of(pdf, block, width) for block in blocks]
    while blocks:
        placed = balanced(heights, columns, room_mm(pdf))
        taken = sum(len(column) for column in placed)
        if taken == 0:
            pdf.add_page()
            placed = balanced(heights, columns, room_mm(pdf))
            taken = sum(len(column) for column in placed)
            if taken == 0:
                raise ValueError(f"blocks: one of {heights[0]:.0f} mm is taller than a page")
        top = pdf.get_y()
        lowest = top
        for column, indices in enumerate(placed):
            x = MARGIN_MM + column * (width + GUTTER_MM)
            pdf.set_y(top)
            for index in indices:
                if index != indices[0]:
                    pdf.set_y(pdf.get_y() + GAP_MM)
                for paragraph in blocks[index]:
                    write(pdf, paragraph, x, width)
            lowest = max(lowest, pdf.get_y())
        pdf.set_draw_color(*rgb(LINE))
        pdf.set_line_width(0.15)
        for column in range(1, len(placed)):
            x = MARGIN_MM + column * (width + GUTTER_MM) - GUTTER_MM / 2
            pdf.line(x, top + 0.6, x, lowest - 1.0)
        pdf.set_y(lowest + 0.6)
        blocks, heights = blocks[taken:], heights[taken:]
        if blocks:
            pdf.add_page()
