"""Work spread over the processor's cores."""

import threading

import pytest

from hoopwise.listen.cores import on_cores


def test_results_come_in_the_order_of_the_items() -> None:
    assert on_cores(lambda k: k * k, range(50)) == [k * k for k in range(50)]


def test_work_may_spread_its_own_work() -> None:
    assert on_cores(lambda k: sum(on_cores(lambda j: k + j, range(3))), range(20)) == [
        3 * k + 3 for k in range(20)
    ]


def test_an_error_in_one_item_is_raised() -> None:
    def fails(k: int) -> int:
        if k == 3:
            raise ValueError("third")
        return k

    with pytest.raises(ValueError, match="third"):
        on_cores(fails, range(6))


def test_the_caller_may_be_any_thread() -> None:
    told: list[list[int]] = []
    threads = [
        threading.Thread(target=lambda: told.append(on_cores(lambda k: -k, range(9))))
        for _ in range(4)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert told == [[-k for k in range(9)]] * 4
