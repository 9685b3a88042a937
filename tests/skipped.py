#!/usr/bin/env python3
"""Says which tests were skipped, and why: a test that did not run has shown nothing.

usage: skipped.py [--only REASON]... RESULTS...
RESULTS are what ctest writes with --output-junit (.xml) and node's test runner with its reporter tap (.tap).
With --only, a test that was skipped for another reason than one that begins so is a failure. Standard library only.
"""
import argparse, collections, pathlib, re, sys, xml.etree.ElementTree as ElementTree


def of_ctest(path):
    for case in ElementTree.parse(path).getroot().iter('testcase'):
        skipped = case.find('skipped')
        if skipped is None: continue
        said = (case.findtext('system-out') or '').strip()
        # GoogleTest prints "FILE:LINE: Skipped", the reason below it, and an empty line or the verdict.
        reason = re.search(r': Skipped\n(.+?)\n\s*(?:\n|\[)', said + '\n\n', re.S)
        yield case.get('name'), reason.group(1) if reason else said.splitlines()[-1] if said else skipped.get('message', '')


def of_node(path):
    for line in path.read_text().splitlines():
        found = re.match(r'\s*ok \d+ - (.*?) # SKIP ?(.*)', line)
        if found: yield found.groups()


def main():
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument('--only', action='append', default=[], metavar='REASON')
    asked.add_argument('results', nargs='+', type=pathlib.Path)
    asked = asked.parse_args()
    by_reason = collections.defaultdict(set)
    for path in asked.results:
        for name, reason in (of_ctest if path.suffix == '.xml' else of_node)(path):
            by_reason[' '.join(reason.split()) or 'no reason given'].add(name)
    count = sum(map(len, by_reason.values()))
    print('tests: %s skipped' % (count or 'none'))
    for reason, names in sorted(by_reason.items()):
        print('  %d: %s' % (len(names), reason))
        for name in sorted(names): print('       ' + name)
    wrong = [reason for reason in by_reason if asked.only and not reason.startswith(tuple(asked.only))]
    if wrong: sys.exit('tests: FAILED: here nothing may be skipped because of: ' + '; '.join(wrong))


if __name__ == '__main__':
    main()
