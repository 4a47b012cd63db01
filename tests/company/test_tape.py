"""How names are lettered."""

from company.templatetags.tape import strip_name


def test_a_unit_keeps_its_letters_wherever_it_stands_in_a_name_and_nothing_gets_in():
    assert strip_name("Lead 10\u2009m") == 'Lead 10<i class="u">\u2009m</i>'
    assert strip_name("Lead 3\u2009m: test by Fri") == 'Lead 3<i class="u">\u2009m</i>: test by Fri'
    assert strip_name("<b>\u2009<i>") == '&lt;b&gt;<i class="u">\u2009&lt;i&gt;</i>'
    assert strip_name("Box") == "Box"
