"""Parts that every screen is built of."""

from dashboard.ui.forms import Form, Scale
from dashboard.ui.labels import plain
from dashboard.ui.links import address, link, underlined

__all__ = ["Form", "Scale", "address", "link", "plain", "underlined"]
