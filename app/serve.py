"""Start the page: Streamlit on this machine alone, with the page's own look, from any working directory."""

import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

from app.palette import ACCENT, CARD, INK, LINE, PAPER

PAGE_FILE = Path(__file__).with_name("page.py")
MAX_UPLOAD_MB = 64

STREAMLIT_OPTIONS = {
    "server.address": "localhost",
    "server.maxUploadSize": str(MAX_UPLOAD_MB),
    "server.fileWatcherType": "none",
    "server.showEmailPrompt": "false",
    "browser.gatherUsageStats": "false",
    "client.toolbarMode": "minimal",
    "client.showErrorLinks": "false",
    "theme.base": "light",
    "theme.primaryColor": ACCENT,
    "theme.backgroundColor": PAPER,
    "theme.secondaryBackgroundColor": CARD,
    "theme.textColor": INK,
    "theme.borderColor": LINE,
    "theme.showWidgetBorder": "true",
    "theme.baseRadius": "3px",
    "theme.font": "sans-serif",
    "theme.headingFont": "serif",
    "theme.linkColor": ACCENT,
}


def page_command(port: int, headless: bool, sample: str | None) -> list[str]:
    """The command line that serves the page, without a shell."""
    options = STREAMLIT_OPTIONS | {"server.port": str(port), "server.headless": str(headless).lower()}
    flags = [part for name, value in options.items() for part in (f"--{name}", value)]
    script = ["--", "--sample", sample] if sample else []
    return [sys.executable, "-m", "streamlit", "run", str(PAGE_FILE), *flags, *script]


def no_browser_here(environment: Mapping[str, str], platform: str) -> bool:
    """True when no browser window can be expected: in CI, or on Linux without a display."""
    if environment.get("CI"):
        return True
    return platform.startswith("linux") and not (environment.get("DISPLAY") or environment.get("WAYLAND_DISPLAY"))


def run_page(port: int, sample: str | None) -> int:
    """Serve the page until it is stopped. Returns the exit status."""
    command = page_command(port, no_browser_here(os.environ, sys.platform), sample)
    print(f"Neck Sighting opens at http://localhost:{port} - stop it with Ctrl+C.", flush=True)
    if os.name == "posix":
        # Becoming the server means that whoever stops this process stops the server too.
        os.execv(command[0], command)
    try:
        return subprocess.run(command, check=False).returncode
    except KeyboardInterrupt:
        return 0
