"""Which signed exams would read differently under the knowledge in force.

Read in batches: each becomes rows of a table in memory, of which one query says everything
(app/store/registry/results.py). Nothing is written but the work file.
"""

from collections.abc import Callable, Iterable, Iterator
from itertools import islice

from app.assess.reassessed import AsSigned, changes
from app.knowledge.load import Knowledge
from app.store.registry.in_memory import as_concluded, in_memory
from app.store.registry.work_file import Differs, WorkFile

BATCH = 500


def reassess(
    signed: Iterable[AsSigned],
    knowledge: Knowledge,
    into: WorkFile,
    tell: Callable[[int], None],
) -> None:
    """Look at every signed exam, and write down what reads differently.

    signed: in the order of their ids, after the last that the work file has seen. tell: is called
    after each batch with how many exams were looked at in all.
    """
    with in_memory(knowledge) as table:
        for batch in _batches(signed):
            results = table.results([each.exam for each in batch])
            found = [
                Differs(each.exam_id, each.signed_on, each.knowledge, changed)
                for each, result in zip(batch, results, strict=True)
                if (changed := changes(each.concluded, as_concluded(result, knowledge)))
            ]
            into.keep(found, batch[-1].exam_id, len(batch))
            tell(into.seen[1])


def _batches(signed: Iterable[AsSigned]) -> Iterator[list[AsSigned]]:
    left = iter(signed)
    while batch := list(islice(left, BATCH)):
        yield batch
