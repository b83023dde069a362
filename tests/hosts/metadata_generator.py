"""The registry as a commented script, from which the public generator of custom functions' metadata writes its own.

The generator (npm package custom-functions-metadata, MIT) is no part of the tests' environment, so what it wrote is
kept in golden/custom_functions_metadata.json. To write it again, in a folder where
`npm install custom-functions-metadata typescript@5` was run: python -m tests.hosts.metadata_generator FOLDER
"""

import json
import subprocess
import sys
from pathlib import Path

from drenchbook.worksheet_functions import FUNCTION_BY_NAME, TABLE, TEXT

GOLDEN = Path(__file__).with_name("golden") / "custom_functions_metadata.json"
# One of each shape: numbers, words, optional arguments, any value, a list that repeats, tables, nothing at all; answers
# that are numbers, text and tables.
CHOSEN = ("DRENCH_MIXED_TEMPERATURE", "DRENCH_PIPE_LOSS", "DRENCH_OUTLET_FLOW", "DRENCH_ADEQUACY", "DRENCH_REASON",
          "DRENCH_STATUS", "DRENCH_SCHEDULE")  # fmt: skip
RESERVED = {"function": "function_"}  # a script cannot call its argument so


def commented(function):
    """One function of the script with the tags that the generator reads."""
    lines = ["/**", f" * {function.help}", f" * @customfunction {function.name} {function.name}"]
    for argument in function.takes:
        us, si = argument.unit("US"), argument.unit("SI")
        unit = "" if us in ("", "–") else f" [{us}]" if us == si else f" [{us}; SI {si}]"
        kind = "any[][][]" if argument.repeats else "any[][]" if argument.kind == "table" else "any"
        name = RESERVED.get(argument.name, argument.name)
        name = f"[{name}]" if argument.optional else name
        lines.append(f" * @param {{{kind}}} {name} {argument.help}{unit}")
    answer = {TEXT: "string", TABLE: "any"}.get(function.gives, "number")
    lines.append(" * @param {CustomFunctions.CancelableInvocation} invocation the call")
    if function.takes:
        lines.append(" * @requiresParameterAddresses")
    lines.append(f" * @returns {{{answer}{'[][]' if function.takes else ''}}}")
    names = ", ".join([*(RESERVED.get(argument.name, argument.name) for argument in function.takes), "invocation"])
    return "\n".join([*lines, " */", f"function {function.name}({names}) {{}}"])


def source():
    """The script of the chosen functions."""
    return "\n\n".join(commented(FUNCTION_BY_NAME[name]) for name in CHOSEN) + "\n"


def main():
    """Run the generator of a folder over the script and keep what it wrote."""
    folder = Path(sys.argv[1])
    script, written = folder / "chosen.js", folder / "chosen.json"
    script.write_text(source(), encoding="utf-8")
    package = folder / "node_modules" / "custom-functions-metadata"
    subprocess.run(["node", package / "cli.js", "generate", script, written], check=True)
    version = json.loads((package / "package.json").read_text(encoding="utf-8"))["version"]
    golden = {"made by": f"custom-functions-metadata {version} (npm, MIT)", "of": source().splitlines(),
              "metadata": json.loads(written.read_text(encoding="utf-8"))}  # fmt: skip
    GOLDEN.parent.mkdir(exist_ok=True)
    GOLDEN.write_text(json.dumps(golden, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
