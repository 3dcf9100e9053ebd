"""Modes of heat over modes of water in one array: how the march reads the surface off them and lets heat and water cross it."""

import numpy as np


class OneLink:
    """(modes,): one product for both."""

    def __init__(self, n: int, last: int):
        self.n, self.last = n, last
        self.block = np.zeros((2, last))
        self.block[0, :n], self.block[1, n:] = 1, 1

    def weights(self, hold):
        return self.block * hold

    def look(self, weights, z):
        return weights.dot(z).tolist()

    def surface(self, z):
        return self.block.dot(z).tolist()

    def mean(self, z):
        return float(z[0])

    def kicks(self, echo, gains, push):
        table = np.concatenate([self.block * echo, self.block * gains, np.zeros((1, self.last))])[
            [0, 2, 1, 3, 4]
        ].T.copy()
        if self.last > self.n:
            table[self.n, 4] = push[self.n]
        return table

    def kick(self, z, table, *flows):
        z += table.dot(flows)


class ManyLinks:
    """(modes, links)."""

    def __init__(self, n: int):
        self.n = n

    def weights(self, hold):
        return hold

    def look(self, weights, z):
        n = self.n
        return np.einsum("mn,mn->n", weights[:n], z[:n]), np.einsum("mn,mn->n", weights[n:], z[n:])

    def surface(self, z):
        return z[: self.n].sum(axis=0), z[self.n :].sum(axis=0)

    def mean(self, z):
        return z[0]

    def kicks(self, echo, gains, push):
        return echo, gains, push

    def kick(self, z, kicks, q1, q2, drawn1, drawn2, within):
        n, (echo, gains, push) = self.n, kicks
        z[:n] += echo[:n] * q1
        z[:n] += gains[:n] * q2
        if len(z) > n:
            z[n:] += echo[n:] * drawn1
            z[n:] += gains[n:] * drawn2
            z[n] += push[n] * within
