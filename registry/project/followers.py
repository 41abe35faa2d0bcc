"""Who acts on which event: the only door upwards. Dotted paths, so that no lower room imports a higher one."""

FOLLOWERS: dict[str, list[str]] = {
    "report.submitted": ["registry.standings.tasks.refresh_for_report"],
    "report.revised": ["registry.standings.tasks.refresh_for_report"],
    "report.withdrawn": ["registry.standings.tasks.refresh_for_report"],
    "report.set-aside": ["registry.standings.tasks.refresh_for_report"],
    "report.restored": ["registry.standings.tasks.refresh_for_report"],
    "report.remeasured": ["registry.standings.tasks.refresh_for_report"],
}
