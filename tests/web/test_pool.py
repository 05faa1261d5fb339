"""The pool: who goes first, who is turned away, and what is stopped."""

import asyncio
from collections.abc import Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor

import pytest

from server.processes import pool as pools
from server.processes.pool import Full, Gone, Pool, TooLong
from tests.web import pool_target


def run(play: Callable[[Pool], Awaitable[None]], processes: int = 1) -> None:
    async def whole() -> None:
        pool = Pool(pool_target.serve, processes=processes)
        try:
            await asyncio.wait_for(play(pool), 30)
        finally:
            pool.close()

    # A thread of its own: where browser tests ran before, this one already has a running loop.
    with ThreadPoolExecutor(1) as thread:
        thread.submit(lambda: asyncio.run(whole())).result()


async def never() -> None:
    await asyncio.sleep(3600)


async def ask(pool: Pool, what: str, value: object = 0, *, member=False, cost=1.0, gone=None):
    left = gone or asyncio.create_task(never())
    try:
        return await pool.run((what, value), member=member, cost_s=cost, gone=left)
    finally:
        left.cancel()


def test_an_answer_comes_from_another_process_again_and_again() -> None:
    async def play(pool: Pool) -> None:
        first, second = await ask(pool, "echo", 7), await ask(pool, "echo", 8)
        assert first[:2] == ("echo", 7) and second[:2] == ("echo", 8)
        assert first[2] == second[2]

    run(play)


def test_members_go_before_visitors_who_came_earlier() -> None:
    async def play(pool: Pool) -> None:
        done: list[str] = []

        async def one(name: str, member: bool) -> None:
            await ask(pool, "sleep", 0.15, member=member)
            done.append(name)

        first = asyncio.create_task(one("first visitor", False))
        await asyncio.sleep(0.05)
        rest = [one("second visitor", False), one("member", True)]
        await asyncio.gather(first, *rest)
        assert done == ["first visitor", "member", "second visitor"]

    run(play)


def test_visitors_never_have_the_last_process() -> None:
    async def play(pool: Pool) -> None:
        await asyncio.gather(ask(pool, "echo", member=True), ask(pool, "echo", member=True))
        visitors = [asyncio.create_task(ask(pool, "sleep", 1.0)) for _ in range(2)]
        await asyncio.sleep(0.1)
        began = asyncio.get_running_loop().time()
        await ask(pool, "echo", member=True)
        assert asyncio.get_running_loop().time() - began < 0.8
        await asyncio.gather(*visitors)

    run(play, processes=2)


def test_a_full_queue_turns_away_visitors_before_members() -> None:
    async def play(pool: Pool) -> None:
        working = asyncio.create_task(ask(pool, "sleep", 0.5))
        await asyncio.sleep(0.05)
        waiting = [asyncio.create_task(ask(pool, "echo", n, cost=2.0)) for n in range(6)]
        await asyncio.sleep(0.05)
        with pytest.raises(Full):
            await ask(pool, "echo", 99)
        assert (await ask(pool, "echo", 1, member=True))[1] == 1
        await asyncio.gather(working, *waiting)

    run(play)


def test_much_work_in_the_queue_is_full_as_well_as_many_in_it() -> None:
    async def play(pool: Pool) -> None:
        working = asyncio.create_task(ask(pool, "sleep", 0.4))
        await asyncio.sleep(0.05)
        waiting = asyncio.create_task(ask(pool, "echo", cost=9.0))
        await asyncio.sleep(0.05)
        with pytest.raises(Full):
            await ask(pool, "echo", cost=9.0)
        await asyncio.gather(working, waiting)

    run(play)


def test_what_takes_too_long_is_stopped_and_its_process_replaced(monkeypatch) -> None:
    monkeypatch.setattr(pools, "LONGEST_S", {True: 0.4, False: 0.2})

    async def play(pool: Pool) -> None:
        monkeypatch.setattr(pools, "LONGEST_S", {True: 9.0, False: 9.0})
        before = (await ask(pool, "echo"))[2]
        monkeypatch.setattr(pools, "LONGEST_S", {True: 0.4, False: 0.2})
        with pytest.raises(TooLong):
            await ask(pool, "sleep", 60)
        monkeypatch.setattr(pools, "LONGEST_S", {True: 9.0, False: 9.0})
        assert (await ask(pool, "echo"))[2] != before

    run(play)


def test_a_busy_machine_is_not_held_against_the_asker(monkeypatch) -> None:
    monkeypatch.setattr(pools, "LONGEST_S", {True: 0.5, False: 0.5})

    async def play(pool: Pool) -> None:
        await ask(pool, "echo")
        assert (await ask(pool, "sleep", 1.0, member=True))[0] == "sleep"  # idle: not its time
        with pytest.raises(TooLong):
            await ask(pool, "burn", 1.5, member=True)

    run(play)


def test_who_leaves_is_not_worked_for(monkeypatch) -> None:
    monkeypatch.setattr(pools, "GRACE_S", 0.1)

    async def play(pool: Pool) -> None:
        await ask(pool, "echo")
        leaving = asyncio.create_task(asyncio.sleep(0.2))
        waiting_one_leaves = asyncio.create_task(asyncio.sleep(0.1))
        working = asyncio.create_task(ask(pool, "sleep", 60, gone=leaving))
        await asyncio.sleep(0.05)
        with pytest.raises(Gone):
            await ask(pool, "echo", gone=waiting_one_leaves)
        with pytest.raises(Gone):
            await working
        assert (await ask(pool, "echo", 5))[1] == 5

    run(play)


def test_a_process_that_dies_or_grows_is_replaced() -> None:
    async def play(pool: Pool) -> None:
        with pytest.raises(TooLong):
            await ask(pool, "die")
        first = (await ask(pool, "grow"))[2]
        assert (await ask(pool, "echo"))[2] != first

    run(play)
