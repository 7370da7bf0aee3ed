"""The messages of a template, and a template in another language."""

from pathlib import Path

import pytest
from jinja2 import Environment

from app.language.markup import messages, translated

TEMPLATES = sorted((Path(__file__).parents[2] / "templates").rglob("*.html"))


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        ("<p>One.</p> <p>Two.</p>", ["One.", "Two."]),
        ("<p>\n  Read\n  it.\n</p>", ["Read it."]),
        ("<p>By {{ who.name }}, {{ at }}.</p>", ["By {name}, {at}."]),
        ("{{ a.name }} and {{ b.name }} met", ["{name} and {name2} met"]),
        (
            '<p>See <a href="/x/{{ id }}">the <b>rule</b></a> first.</p>',
            ["See <1>the <2>rule</2></1> first."],
        ),
        ("Name<br>Role", ["Name<1/>Role"]),
        ("<p>{% if x %}Yes please{% else %}No thanks{% endif %}</p>", ["Yes please", "No thanks"]),
        ("<span>One word</span> <span>{{ x }}</span>", ["One word"]),
        ('<input title="Find {{ who }}" value="not a word">', ["Find {who}"]),
        ('<p aria-label="{% if x %}Open it{% endif %}"></p>', ["Open it"]),
        ("<p>{{ x }} – {{ y }}, 12 &amp; 13</p>", []),
        ("<b>Cut {% if x %}short</b>{% endif %}", ["Cut", "short"]),
        ("{# A comment. #}<!-- And one. --><script>let it = 1;</script>", []),
        ("{% block width %}wide page{% endblock %}/knowledge/{{ id }}", []),
        ("<p>{{ 'a } and > b' }} is said</p>", ["{value} is said"]),
    ],
)
def test_a_run_of_text_is_one_message(source: str, expected: list[str]) -> None:
    """From block to block, with a short name for what is no text."""
    assert expected == list(messages(source))
    assert source == translated(source, lambda message: message)


def test_what_stands_inside_a_message_comes_back_where_the_translation_names_it() -> None:
    """In the order of the other language, and as it was."""
    source = '<p class="x">\n Signed by <b>{{ who.name | upper }}</b> on {{ day(at) }}.\n</p>'
    german = {"Signed by <1>{name}</1> on {day}.": "Am {day} von <1>{name}</1> unterschrieben."}

    assert (
        '<p class="x">\n Am {{ day(at) }} von <b>{{ who.name | upper }}</b> unterschrieben.\n</p>'
        == translated(source, german.__getitem__)
    )


@pytest.mark.parametrize("file", TEMPLATES, ids=lambda file: file.name)
def test_english_is_unchanged_and_a_translation_is_still_a_template(file: Path) -> None:
    """Every template there is, with each message in capitals but for its names."""
    source = file.read_text(encoding="utf-8")
    other = translated(source, lambda message: f"¡{message}!")

    assert source == translated(source, lambda message: message)
    assert len(list(messages(source))) == other.count("¡")
    Environment(autoescape=True).parse(other)
