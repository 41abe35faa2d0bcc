"""The production server's values. Threads, because a slow upload must not hold a whole process."""

import os

bind = os.environ.get("CLEANSTOP_BIND", "127.0.0.1:8000")
worker_class = "gthread"
workers = int(os.environ.get("CLEANSTOP_WEB_PROCESSES", "2"))
threads = int(os.environ.get("CLEANSTOP_WEB_THREADS", "4"))
timeout = 120
graceful_timeout = 20
keepalive = 5
max_requests = 5000
max_requests_jitter = 500
forwarded_allow_ips = os.environ.get("CLEANSTOP_FORWARDED_ALLOW_IPS", "127.0.0.1")
loglevel = os.environ.get("CLEANSTOP_WEB_LOG_LEVEL", "warning")
