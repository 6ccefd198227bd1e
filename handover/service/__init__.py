"""The use cases of the program, such as: one job in, the whole set of documents out.

The steps of an issue, by the names in the modules, the log and the guide for contributors:

    1 read      the job record and the weather, as received                                        inputs
    2 check     whether they can be used and belong together; all faults at once                   inputs
    3 compute   the schedule                                                                       inputs
    4 write     the texts in each language                                                         render
    5 render    every document, in memory                                                          render
    6 publish   beside the target, checked, then by one rename; a failed run leaves nothing behind publish
"""
