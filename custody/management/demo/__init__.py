"""The demo: an invented refinery's last weeks, played through the real actions."""
