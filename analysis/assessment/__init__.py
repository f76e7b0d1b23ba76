"""What the readings say of one batch now: verdict, forecast, phases, and why."""
