"""The shell: flags into a `Brief`, an `Evaluation` into words and files. One file a verb."""

from orient.cli.shell import main as main
