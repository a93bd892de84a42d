"""Tags of the page frame."""

from __future__ import annotations

from django import template
from django.template.context import Context
from django.template.loader_tags import BLOCK_CONTEXT_KEY
from django.utils.safestring import SafeString, mark_safe

register = template.Library()


@register.simple_tag(takes_context=True)
def again(context: Context, name: str) -> SafeString:
    """The content of a block once more: the page's title is also its heading, and is written once."""
    blocks = context.render_context.get(BLOCK_CONTEXT_KEY)
    node = blocks.get_block(name) if blocks else None
    if node is None:
        return mark_safe("")
    with context.push(block=node):
        rendered: str = node.nodelist.render(context)
    return mark_safe(rendered)  # noqa: S308 - rendered by the engine, escaped there
