"""At wrap: plan a list, render it if no more than a few rows are wrong, verify it, and say in one line how it went.

python evening_render.py day.csv cards out
"""

import sys

import rushlight

MOST_WRONG = 2  # rows that may wait until tomorrow


def main(clip_list: str, media: str, out: str) -> int:
    planned = rushlight.plan(clip_list, media=media)
    for row in (*planned.wrong, *planned.failed):
        print(f"not tonight: {row.clip}: {row.error}")
    if len(planned.wrong) + len(planned.failed) > MOST_WRONG:
        print("too much is wrong: nothing was rendered")
        return 1

    def on_event(event: dict[str, object]) -> None:
        if event["event"] == "done":
            print(f"delivered: {event['clip']}")

    night = rushlight.render(clip_list, media=media, out=out, recipe="overnight", on_event=on_event)
    checked = rushlight.verify(out)
    missing = [clip.clip for clip in (*night.failed, *night.set_aside)]
    print(
        f"{len(night.delivered)} delivered, {len(night.unchanged)} were there, {len(missing)} missing"
        f"{': ' + ', '.join(missing) if missing else ''}; verify: {checked.counts}"
    )
    return night.code or bool(checked.failed)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
