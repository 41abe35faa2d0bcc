from registry.standings.services.priors import ensure_edition, renew_priors
from registry.standings.services.refresh import Refreshed, refresh_all, refresh_lens

__all__ = ["Refreshed", "ensure_edition", "refresh_all", "refresh_lens", "renew_priors"]
