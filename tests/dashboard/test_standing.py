"""What stands around a page is sent again only when it is another."""

from dash import html, no_update

from evenfoot.dashboard.standing import only_new


def test_only_what_is_new_is_sent() -> None:
    def parts(words: str) -> dict[str, object]:
        return {"navigation": [html.A("Herd", href="/")], "picker": html.Div(words)}

    first, stands = only_new(parts("Larkmoor"), None)
    assert first["navigation"] is not no_update and first["picker"] is not no_update
    again, same = only_new(parts("Larkmoor"), stands)
    assert set(again.values()) == {no_update} and same == stands
    other, _ = only_new(parts("Osier End"), stands)
    assert other["navigation"] is no_update and other["picker"] is not no_update
    assert only_new(parts("Larkmoor"), "what nobody sent")[0]["picker"] is not no_update  # type: ignore[arg-type]
