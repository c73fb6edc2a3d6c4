"""The workbench opens in a browser with the demonstration job in it."""

from __future__ import annotations

from playwright.sync_api import Page, expect


def test_the_list_opens(page: Page) -> None:
    page.goto("/")
    expect(page.get_by_role("heading", name="Jobs")).to_be_visible()
    expect(page.get_by_text("Left rear sinks within minutes")).to_be_visible()
