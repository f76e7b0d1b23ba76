"""Parts that every screen is built of."""

from dashboard.ui.forms import Form, Scale
from dashboard.ui.labels import plain
from dashboard.ui.links import address, link, underlined
from dashboard.ui.names import in_one_piece

__all__ = ["Form", "Scale", "address", "in_one_piece", "link", "plain", "underlined"]
