"""Works out all episodes of a deployment anew from its log alone."""

from __future__ import annotations

from limbtier.foundation.settings import Settings
from limbtier.store.episodes import EpisodeTable
from limbtier.use_cases.episodes import Episodes
from limbtier.use_cases.open_log import open_log
from limbtier.use_cases.ready_pathway import ready_attention, ready_watch
from limbtier.use_cases.ready_rules import ready_rules


def rebuild_episodes(settings: Settings) -> int:
    """Put episodes worked out from the log in the place of all that are kept; how many. For a service that is
    stopped: what it appends meanwhile would be left out. Raises InvalidRuleFiles or StoreUnavailable."""
    editions = [one.edition for one in ready_rules(settings.rules, settings.rule_set).editions.values()]
    watch = ready_watch(settings.rules, editions)
    database, log = open_log(settings, make=False)
    try:
        episodes = Episodes(EpisodeTable(database), watch, ready_attention(settings.rules, watch)[0])
        return episodes.rebuild(log.store)
    finally:
        log.close()
