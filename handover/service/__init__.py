"""The use cases of the program, such as: one job in, the whole set of documents out.

The steps of an issue, by the names in the modules, the log and the guide for contributors:

    1 read            the job record and the weather, as received                             receive
    2 check           whether they can be used and belong together; every fault at once       receive
    3 compute         the schedule                                                             receive
    4 word            the schedule in each language asked for                                  render
    5 render          every document, in memory                                                render
    6 put in place    beside the target, checked, by one rename; a failed run leaves nothing   place
"""
