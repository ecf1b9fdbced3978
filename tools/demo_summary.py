"""Prints what an analysis found beside the truth of the rendered case.

    demo_summary.py RESULT.json TRUTH.json
"""
import json
import sys

with open(sys.argv[1], encoding="utf-8") as file:
    final = json.load(file)["final"]
with open(sys.argv[2], encoding="utf-8") as file:
    truth = json.load(file)


def line(name, text):
    print(f"  {name:<22}{text}")


if final is None:
    line("achieved axis", "could not be measured")
else:
    line("achieved axis", f"{final['axis_deg']:.2f} degrees")
    line("95 % interval", f"{final['low_deg']:.2f} to {final['high_deg']:.2f}")
    if final.get("deviation_deg") is not None:
        line("deviation from plan", f"{final['deviation_deg']:+.2f}")
if truth["final_axis_deg"] is None:
    line("truth", "no axis to be measured")
else:
    line("truth", f"{truth['final_axis_deg']:.2f} degrees, deviation {truth['final_deviation_deg']:+.2f}")
