"""Pooling of published shares: random effects, heterogeneity, new settings, and their limits."""

from thalweg.evidence.pooling.methods import METHODS_TABLE, PoolSettings, pool_settings
from thalweg.evidence.pooling.pooled import Pooled
from thalweg.evidence.pooling.proportions import WAYS, pool
from thalweg.evidence.pooling.published import SeriesPool, pooled_rows, published_pools

__all__ = [
    "METHODS_TABLE",
    "WAYS",
    "PoolSettings",
    "Pooled",
    "SeriesPool",
    "pool",
    "pool_settings",
    "pooled_rows",
    "published_pools",
]
