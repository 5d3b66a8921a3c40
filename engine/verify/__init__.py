"""Holds recorded takes against a session: was all that was heard recorded, and as it was heard?"""
