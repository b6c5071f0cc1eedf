"""What a user can get wrong, told in one sentence."""


class OrientError(Exception):
    """A mistake a user can make and mend.

    The message is one sentence that says what is wrong and what to do. The shell prints it
    alone and exits with code 2; Python callers catch this class.
    """
