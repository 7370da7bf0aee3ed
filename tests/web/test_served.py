"""What a server has done before it listens, and a program in a test has not."""

import gc
import socket

from app.main import create_app
from app.report.pdf import _fetcher_fonts_styles
from app.serve import Prompt
from app.settings import Settings
from tests.web.clinic import Clinic


def test_a_server_is_warm_and_searches_no_more_through_what_stays(settings: Settings) -> None:
    """Its first page of paper waits for no fonts, and no answer for the search for garbage."""
    thresholds = gc.get_threshold()
    _fetcher_fonts_styles.cache_clear()
    try:
        with Clinic.of(create_app(settings)):
            assert (0, 0) == (gc.get_freeze_count(), _fetcher_fonts_styles.cache_info().currsize)
        with Clinic.of(create_app(settings, is_served=True)):
            assert gc.get_freeze_count() > 100_000
            assert 1 == _fetcher_fonts_styles.cache_info().currsize
    finally:
        gc.unfreeze()
        gc.set_threshold(*thresholds)


def test_an_answer_of_one_of_several_processes_does_not_wait_for_its_last_packet() -> None:
    """Or each takes 40 ms longer: what is accepted has the setting of the socket that listens."""
    config = Prompt("app.serve:served_app", factory=True, workers=2, host="127.0.0.1", port=0)
    with config.bind_socket() as listening:
        listening.listen()
        with socket.create_connection(listening.getsockname()), listening.accept()[0] as accepted:
            assert accepted.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
