"""What all pages share: the template engine, which escapes everything, and what a page may do (its policy).

A page is one file that opens from a mail, without a network. Its style and its script are allowed by their hashes
(Content Security Policy Level 3); nothing is fetched.
"""

from __future__ import annotations

import base64
import hashlib
from functools import lru_cache
from importlib import resources
from typing import Any


@lru_cache
def template(name: str) -> str:
    """The text of a file among the templates."""
    return resources.files("strumclock.report").joinpath("templates", name).read_text(encoding="utf-8")


def render(template_name: str, /, *, style: str, script: str = "", **context: Any) -> str:
    """A page from its template, with its style, script and policy.

    Parameters
    ----------
    template_name : str
        Of the file among the templates.
    style, script : str
        Texts of our own: they stand in the page as they are. Whatever else is given is escaped.

    Raises
    ------
    jinja2.UndefinedError
        If the template asks for a name that is not given.
    """
    context |= {"policy": policy(style, script), "style": safe(style), "script": safe(script)}
    return str(_environment().get_template(template_name).render(context))


@lru_cache(maxsize=1)
def _environment() -> Any:
    import jinja2

    return jinja2.Environment(
        loader=jinja2.FunctionLoader(template), autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=False
    )


def safe(text: str) -> Any:
    """Text of our own that stands in the page as it is."""
    from markupsafe import Markup

    return Markup(text)


def policy(style: str, script: str = "") -> str:
    """What a page may do: its own style, its own script, sounds and pictures that it holds; nothing else."""
    allowed = f"default-src 'none'; style-src '{_hash(style)}'; "
    if script:
        allowed += f"script-src '{_hash(script)}'; "
    return f"{allowed}img-src data:; media-src data:; base-uri 'none'; form-action 'none'"


def _hash(text: str) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode('utf-8')).digest()).decode('ascii')}"
