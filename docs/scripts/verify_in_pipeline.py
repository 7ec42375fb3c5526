"""A delivery measured in a build pipeline: JUnit XML, which most pipelines show, and exit code 1 where a clip fails.

python verify_in_pipeline.py out verdicts.xml
"""

import sys
import xml.etree.ElementTree as ElementTree

import rushlight


def main(folder: str, report: str) -> int:
    checked = rushlight.verify(folder)
    suite = ElementTree.Element(
        "testsuite", name="rushlight verify", tests=str(len(checked.clips)), failures=str(len(checked.failed))
    )
    for clip in checked.clips:
        case = ElementTree.SubElement(suite, "testcase", classname="delivery", name=clip.clip)
        told = [f"{name}: {check.text}" for name, check in clip.checks.items() if check.verdict != "pass"]
        if clip.verdict == "fail":
            ElementTree.SubElement(case, "failure", message=told[0] if told else "").text = "\n".join(told)
        elif told:
            ElementTree.SubElement(case, "system-out").text = "\n".join(told)
    ElementTree.ElementTree(suite).write(report, encoding="utf-8", xml_declaration=True)
    print(f"{report}: {checked.counts}")
    return bool(checked.failed)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
